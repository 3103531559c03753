//! Every gate, by stories: each reason told once, each limit held exactly.

use std::collections::BTreeSet;

use calc::VoltageMethod;
use chrono::TimeDelta;
use domain::{
    ids::{NonconformanceId, ReleaseId},
    joints::{
        Event, GateKind, Severity, Stage,
        assess::{OpenNonconformance, ReleaseInForce},
        event::{
            Ambient, HolidayTested, PeelSpecimen, Primed, SurfacePrepared, TestResult, WrapLayer,
            Wrapped,
        },
        gates::required_voltage,
        nonconformance::Scope,
        release::Decision,
    },
    setup::{Quarantine, VoltageRule},
};
use uuid::Uuid;

use crate::builder::{
    APPLICATOR, QA_MANAGER, Story, accepted, at, backfilled, cut_out, damage, day, entry,
    excavated, failed, id, lowered, passed, peeled, preparation, priming, rejected, repaired, test,
    thick, user, weather, weld_repaired, withdrawn, wrapped, wrapping,
};

type Case = (GateKind, &'static str, Story);

fn clean() -> Story {
    Story::given_clean()
}

fn primed_with(change: impl FnOnce(&mut Primed)) -> Story {
    let mut priming = priming();
    change(&mut priming);
    clean().but(4, Event::Primed(priming))
}

fn primed_in(change: impl FnOnce(&mut Ambient)) -> Story {
    let mut ambient = weather();
    change(&mut ambient);
    primed_with(|it| it.ambient = Some(ambient))
}

fn tested_with(change: impl FnOnce(&mut HolidayTested)) -> Story {
    let mut tested = test(15.0);
    change(&mut tested);
    clean().but(7, Event::HolidayTested(tested))
}

fn with_inner_lot(change: impl FnOnce(&mut domain::setup::Lot)) -> Story {
    clean().with(|it| change(it.setup.lots.get_mut("L-INNER").unwrap()))
}

fn nonconformance(severity: Severity) -> OpenNonconformance {
    let id = NonconformanceId(Uuid::from_u128(5));
    OpenNonconformance {
        id,
        number: 1,
        severity,
        nature: "holidays at the toe".into(),
        scope: Scope::Joint,
    }
}

fn about_the_joint() -> Vec<Case> {
    use GateKind as G;
    let armour = wrapped(WrapLayer::Armour);
    let grade = Event::SurfacePrepared(SurfacePrepared { grade: "St 2".into(), ..preparation() });
    let inner = wrapped(WrapLayer::Inner);
    let strip = peeled(TestResult::Pass, 2.0, PeelSpecimen::Joint);
    vec![
        (G::Weld, "WELD_NOT_ACCEPTED", clean().without(2)),
        (G::Weld, "WELD_NOT_ACCEPTED", clean().when(weld_repaired())),
        (G::Weld, "WELD_REJECTED", clean().when(rejected())),
        (G::Weld, "CUT_OUT", clean().when(cut_out()).when(accepted())),
        (G::Layers, "NO_SYSTEM_ASSIGNED", clean().with(|it| it.entry.section = "S9".into())),
        (G::Layers, "SURFACE_NOT_PREPARED", clean().without(3)),
        (G::Layers, "SURFACE_GRADE_DIFFERS", clean().but(3, grade)),
        (G::Layers, "LAYER_MISSING", clean().without(6)),
        (G::Layers, "LAYER_NOT_OF_SYSTEM", clean().when(armour).when(passed())),
        (G::Layers, "LAYER_OUT_OF_ORDER", clean().when(inner).when(passed())),
        (G::HolidayTest, "HOLIDAY_TEST_MISSING", clean().without(7)),
        (G::HolidayTest, "HOLIDAY_TEST_FAILED", clean().when(failed())),
        (G::HolidayTest, "HOLIDAY_TEST_STALE", clean().when(repaired(None))),
        (G::HolidayTest, "HOLIDAY_TEST_STALE", clean().when(excavated())),
        (G::HolidayTest, "HOLIDAY_TEST_VOLTAGE_LOW", tested_with(|it| it.voltage_kv = 14.9)),
        (G::HolidayTest, "DETECTOR_UNKNOWN", tested_with(|it| it.detector = "HD-9".into())),
        (
            G::HolidayTest,
            "DETECTOR_NOT_CALIBRATED",
            clean().with(|it| it.setup.detectors.get_mut("HD").unwrap().calibrations.clear()),
        ),
        (G::HolidayTest, "REQUIRED_VOLTAGE_UNDEFINED", clean().without(5).without(6)),
        (
            G::HolidayTest,
            "REQUIRED_VOLTAGE_UNDEFINED",
            clean().with(|it| {
                let rule =
                    VoltageRule { method: VoltageMethod::FixedBand, cap_kv: None, fixed_kv: None };
                it.setup.plans.get_mut("ITP").unwrap().voltage_rule = rule;
            }),
        ),
        (
            G::HolidayTest,
            "HOLIDAY_TEST_AHEAD_OF_CLOCK",
            clean().with(|it| {
                let test = it.facts.last_mut().unwrap();
                test.recorded_at = test.occurred_at - TimeDelta::seconds(121);
            }),
        ),
        (G::Damage, "DAMAGE_OPEN", clean().when(damage()).when(passed())),
        (G::Damage, "HOLIDAYS_OPEN", clean().when(failed()).when(passed())),
        (G::Damage, "PEEL_STRIP_OPEN", clean().when(strip).when(passed())),
        (
            G::Freshness,
            "HOLIDAY_TEST_TOO_OLD",
            clean().with(|it| it.now += TimeDelta::hours(48) + TimeDelta::seconds(1)),
        ),
    ]
}

fn about_the_work() -> Vec<Case> {
    use GateKind as G;
    let quarantine = Quarantine::of(at("2026-06-01T00:00:00Z"), None, "torn wrapping");
    let narrow =
        Event::Wrapped(Wrapped { overlap_percent: Some(54.9), ..wrapping(WrapLayer::Inner) });
    let coupon = |result, force| clean().when(peeled(result, force, PeelSpecimen::Coupon));
    vec![
        (
            G::Nonconformances,
            "NONCONFORMANCE_OPEN",
            clean().with(|it| it.outside.nonconformances.push(nonconformance(Severity::Major))),
        ),
        (G::Materials, "LOT_NOT_NAMED", primed_with(|it| it.lots.clear())),
        (G::Materials, "LOT_UNKNOWN", primed_with(|it| it.lots = vec!["L-9".into()])),
        (G::Materials, "LOT_EXPIRED", with_inner_lot(|it| it.expires_on = Some(day("2026-05-31")))),
        (G::Materials, "LOT_QUARANTINED", with_inner_lot(|it| it.quarantines = vec![quarantine])),
        (G::Materials, "MATERIAL_DIFFERS", primed_with(|it| it.lots = vec!["L-OUTER".into()])),
        (
            G::People,
            "APPLICATOR_NOT_NAMED",
            primed_with(|it| it.applicator = None).with(|it| it.facts[3].recorded_by = user(9)),
        ),
        (G::People, "INSPECTOR_NOT_NAMED", tested_with(|it| it.inspector = None)),
        (G::People, "PERSON_UNKNOWN", primed_with(|it| it.applicator = Some("P-9".into()))),
        (G::People, "NOT_QUALIFIED", primed_with(|it| it.applicator = Some("P-2".into()))),
        (G::Conditions, "NO_AMBIENT_READING", primed_with(|it| it.ambient = None)),
        (
            G::Conditions,
            "AMBIENT_READING_TOO_OLD",
            primed_in(|it| it.measured_at = Some(at("2026-06-01T04:39:59Z"))),
        ),
        (
            G::Conditions,
            "AMBIENT_READING_INVALID",
            primed_in(|it| it.relative_humidity_percent = 0.0),
        ),
        (G::Conditions, "CONDITIONS_OUT_OF_LIMITS", primed_in(|it| it.steel_c = 14.0)),
        (
            G::Conditions,
            "STEEL_NOT_READ",
            primed_with(|it| it.ambient = None)
                .with(|it| it.read("2026-06-01T08:40:00Z", 20.0, None)),
        ),
        (
            G::Conditions,
            "TEST_CONDITIONS_OUT_OF_LIMITS",
            tested_with(|it| it.ambient = Some(Ambient { steel_c: 11.0, ..weather() })),
        ),
        (
            G::Conditions,
            "PREPARATION_TOO_OLD",
            clean().with(|it| it.plan().preparation_valid_min = 9),
        ),
        (
            G::Conditions,
            "FLASH_OFF_TOO_SHORT",
            clean().with(|it| it.material("PRIMER").flash_off_min = Some(11)),
        ),
        (
            G::Conditions,
            "OPEN_TIME_EXCEEDED",
            clean().with(|it| it.material("PRIMER").open_time_min = Some(9)),
        ),
        (
            G::Conditions,
            "TESTED_TOO_SOON",
            clean().with(|it| it.plan().test_after_wrap_min = Some(11)),
        ),
        (
            G::Conditions,
            "TESTED_TOO_LATE",
            clean().with(|it| it.plan().test_within_wrap_min = Some(9)),
        ),
        (G::Overlap, "OVERLAP_UNDER", clean().but(5, narrow)),
        (G::Thickness, "THICKNESS_UNDER", clean().when(thick(1.9))),
        (G::PeelTests, "PEEL_TEST_FAILED", coupon(TestResult::Fail, 2.0)),
        (G::PeelTests, "PEEL_FORCE_UNDER", coupon(TestResult::Pass, 0.9)),
    ]
}

fn cases() -> Vec<Case> {
    about_the_joint().into_iter().chain(about_the_work()).collect()
}

#[test]
fn each_story_shuts_its_gate_for_its_reason_and_refuses_the_release() {
    for (gate, code, story) in cases() {
        let found = story.codes(gate);
        assert!(found.iter().any(|it| it == code), "{gate:?} {code}: {found:?}");
        let refused = story.refusals(QA_MANAGER);
        assert!(refused.iter().any(|it| it == code), "{code}: {refused:?}");
    }
}

#[test]
fn a_clean_joint_has_every_gate_open_and_is_granted() {
    let story = clean();
    assert!(story.gates().iter().all(|gate| gate.open), "{:?}", story.gates());
    assert_eq!(story.gates().len(), 12);
    assert_eq!(story.decided(), Decision::Granted { holiday_test: id(7) });
    assert_eq!(story.judged().stage, Stage::Tested);
}

#[test]
fn the_table_of_stories_names_every_code_that_the_gates_know() {
    let sources = [
        include_str!("../../src/joints/gates/mod.rs"),
        include_str!("../../src/joints/gates/clocks.rs"),
        include_str!("../../src/joints/gates/conditions.rs"),
        include_str!("../../src/joints/gates/layers.rs"),
        include_str!("../../src/joints/gates/measurements.rs"),
        include_str!("../../src/joints/gates/people.rs"),
        include_str!("../../src/joints/gates/test.rs"),
    ];
    let is_code =
        |text: &&str| text.len() > 5 && text.chars().all(|it| it.is_ascii_uppercase() || it == '_');
    let known: BTreeSet<&str> =
        sources.iter().flat_map(|text| text.split('"')).filter(is_code).collect();
    let told: BTreeSet<&str> = cases().into_iter().map(|(_, code, _)| code).collect();
    assert_eq!(known, told);
}

#[test]
fn a_release_is_refused_with_every_reason_at_once() {
    let story = clean().without(2).when(damage()).when(thick(1.0));
    let refused = story.refusals(QA_MANAGER);
    for code in ["WELD_NOT_ACCEPTED", "DAMAGE_OPEN", "HOLIDAY_TEST_STALE", "THICKNESS_UNDER"] {
        assert!(refused.iter().any(|it| it == code), "{code}: {refused:?}");
    }
}

#[test]
fn who_put_the_coating_on_cannot_release_it() {
    assert_eq!(clean().refusals(APPLICATOR), ["APPLICATOR_CANNOT_RELEASE"]);
    // Where no applicator is named, it was whoever recorded the work.
    let unnamed = primed_with(|it| it.applicator = None);
    assert_eq!(unnamed.refusals(APPLICATOR), ["APPLICATOR_CANNOT_RELEASE"]);
}

#[test]
fn a_joint_under_the_soil_is_not_released_afterwards() {
    let story = clean().when(lowered()).when(backfilled());
    assert_eq!(story.refusals(QA_MANAGER), ["ALREADY_BACKFILLED"]);
}

#[test]
fn a_joint_under_the_soil_comes_out_by_excavation_only() {
    let story = clean().when(backfilled()).when(lowered());
    assert_eq!(story.refusals(QA_MANAGER), ["ALREADY_BACKFILLED"]);
    assert_eq!(story.judged().stage, Stage::Backfilled);
    let findings = story.judged().findings;
    assert!(findings.iter().any(|it| it.code == "BURIED_UNRELEASED"), "{findings:?}");
    let dug = story.when(excavated()).when(passed());
    assert!(matches!(dug.decided(), Decision::Granted { .. }));
}

#[test]
fn a_release_in_force_is_answered_as_such() {
    let release = ReleaseInForce {
        id: ReleaseId(Uuid::from_u128(6)),
        holiday_test: id(7),
        released_at: at("2026-06-01T12:00:00Z"),
        signer: user(QA_MANAGER),
    };
    let story = clean().with(|it| it.outside.release = Some(release.clone()));
    assert_eq!(story.decided(), Decision::AlreadySo(release));
    assert_eq!(story.judged().stage, Stage::Released);
}

#[test]
fn a_repair_opens_the_damage_gate_and_only_a_new_test_opens_the_test_gate() {
    // Damage is to be repaired and the coating tested just before backfill: Washington
    // Administrative Code 480-75-410 (published), 49 CFR 192.461(c) (second-hand).
    let story = clean().when(damage()).when(repaired(Some(id(8))));
    assert!(story.codes(GateKind::Damage).is_empty());
    assert_eq!(story.codes(GateKind::HolidayTest), ["HOLIDAY_TEST_STALE"]);
    assert!(matches!(story.when(passed()).decided(), Decision::Granted { .. }));
}

#[test]
fn a_repair_of_one_damage_leaves_the_other_open() {
    let story = clean().when(damage()).when(damage()).when(repaired(Some(id(8)))).when(passed());
    assert_eq!(story.codes(GateKind::Damage), ["DAMAGE_OPEN"]);
}

#[test]
fn a_pass_with_holidays_counted_is_a_fail() {
    let story = tested_with(|it| it.holidays_found = Some(1));
    assert!(story.codes(GateKind::HolidayTest).contains(&"HOLIDAY_TEST_FAILED".into()));
    assert_eq!(story.codes(GateKind::Damage), ["HOLIDAYS_OPEN"]);
}

#[test]
fn a_test_proves_nothing_about_the_moment_in_which_it_ended() {
    let story = clean();
    let moment = story.now;
    let disturbed = story.when_at(moment, excavated());
    assert_eq!(disturbed.codes(GateKind::HolidayTest), ["HOLIDAY_TEST_STALE"]);
}

#[test]
fn a_withdrawn_damage_does_not_count() {
    let story = clean().when(damage()).superseding(8, withdrawn());
    assert!(matches!(story.decided(), Decision::Granted { .. }));
}

#[test]
fn a_minor_nonconformance_does_not_block() {
    let story = clean().with(|it| it.outside.nonconformances.push(nonconformance(Severity::Minor)));
    assert!(story.codes(GateKind::Nonconformances).is_empty());
}

#[test]
fn mastic_is_asked_for_only_where_the_kind_of_joint_needs_it() {
    let fitting = clean().with(|it| it.entry.kind = domain::joints::JointKind::Fitting);
    assert_eq!(fitting.codes(GateKind::Layers), ["LAYER_MISSING"]);
    assert_eq!(entry().kind, domain::joints::JointKind::Mainline);
}

#[test]
fn steel_exactly_3_kelvin_above_the_dew_point_is_warm_enough() {
    // 3 K: NACE RP0176-2003, 14.3.1 (published). Exactly on a limit passes: our own
    // reading of "at least". The dew point is the program's own; its value is checked where it is computed.
    for (air_c, percent) in [(20.0, 85.0), (10.0, 80.0), (25.0, 60.0), (40.0, 60.0)] {
        let air = units::Temperature::from_celsius(air_c).unwrap();
        let dew = calc::dew_point(air, units::RelativeHumidity::from_percent(percent).unwrap());
        let at_margin = |margin: f64| {
            let story = primed_in(|it| {
                it.air_c = air_c;
                it.relative_humidity_percent = percent;
                it.steel_c = dew + margin;
            });
            story.codes(GateKind::Conditions)
        };
        assert!(at_margin(3.0).is_empty(), "{air_c} {percent}");
        assert_eq!(at_margin(2.99), ["CONDITIONS_OUT_OF_LIMITS"], "{air_c} {percent}");
    }
}

#[test]
fn the_stricter_limit_of_plan_and_material_holds() {
    // 10 °C as a primer's least steel temperature: common practice, no source.
    let cold = |steel_c| {
        let story = primed_in(|it| (it.air_c, it.steel_c) = (0.0, steel_c));
        let story = story.with(|it| {
            it.setup.materials.get_mut("PRIMER").unwrap().limits.steel_min_c = Some(10.0);
        });
        story.codes(GateKind::Conditions)
    };
    assert!(cold(10.0).is_empty());
    assert_eq!(cold(9.9), ["CONDITIONS_OUT_OF_LIMITS"]);
}

#[test]
fn a_reading_exactly_4_hours_old_is_valid() {
    // 4 h: common practice, no source. The primer went on at 08:40.
    let story = primed_in(|it| it.measured_at = Some(at("2026-06-01T04:40:00Z")));
    assert!(story.codes(GateKind::Conditions).is_empty());
}

#[test]
fn a_test_exactly_48_hours_old_is_fresh() {
    // 48 h: common practice, no source.
    let later = |seconds| {
        let story = clean().with(|it| {
            it.now += TimeDelta::hours(48) + TimeDelta::seconds(seconds);
        });
        story.codes(GateKind::Freshness)
    };
    assert!(later(0).is_empty());
    assert_eq!(later(1), ["HOLIDAY_TEST_TOO_OLD"]);
}

#[test]
fn overlap_thickness_and_peel_force_exactly_on_the_limit_pass() {
    let coupon = peeled(TestResult::Pass, 1.0, PeelSpecimen::Coupon);
    let story = clean().when(thick(2.0)).when(coupon);
    assert!(matches!(story.decided(), Decision::Granted { .. }), "{:?}", story.gates());
}

/// The instants around midnight on site. Berlin is 1 h before UTC in winter, 2 h in summer; the
/// clock goes forward on 2026-03-29 and back on 2026-10-25, both at 01:00 UTC: IANA zone data.
const LAST_DAYS: [(&str, &str, &str); 5] = [
    ("2026-03-28", "2026-03-28T22:59:59Z", "2026-03-28T23:00:00Z"),
    ("2026-03-29", "2026-03-29T21:59:59Z", "2026-03-29T22:00:00Z"),
    ("2026-06-01", "2026-06-01T21:59:59Z", "2026-06-01T22:00:00Z"),
    ("2026-10-24", "2026-10-24T21:59:59Z", "2026-10-24T22:00:00Z"),
    ("2026-10-25", "2026-10-25T22:59:59Z", "2026-10-25T23:00:00Z"),
];

#[test]
fn a_lot_may_be_used_until_midnight_on_site_of_its_last_day() {
    for (last, inside, outside) in LAST_DAYS {
        let used = |when: &str| {
            let story = Story::given_nothing().when_at(at(when), wrapped(WrapLayer::Inner));
            let story = story.with(|it| {
                it.setup.lots.get_mut("L-INNER").unwrap().expires_on = Some(day(last));
            });
            story.codes(GateKind::Materials)
        };
        assert!(used(inside).is_empty(), "{inside}");
        assert_eq!(used(outside), ["LOT_EXPIRED"], "{outside}");
    }
}

#[test]
fn a_detector_may_be_used_until_midnight_on_site_of_its_calibrations_last_day() {
    for (last, inside, outside) in LAST_DAYS {
        let used = |when: &str| {
            let story = Story::given_nothing().when_at(at(when), passed()).with(|it| {
                let detector = it.setup.detectors.get_mut("HD").unwrap();
                detector.calibrations[0].valid_to = day(last);
            });
            story.codes(GateKind::HolidayTest).contains(&"DETECTOR_NOT_CALIBRATED".to_owned())
        };
        assert!(!used(inside), "{inside}");
        assert!(used(outside), "{outside}");
    }
}

#[test]
fn a_detector_verified_only_until_yesterday_proves_nothing_today() {
    // The detector is checked daily with an accurate voltmeter: field specification in a gas
    // transmission company's tender, p. 405 (second-hand).
    let story = clean().with(|it| {
        let detector = it.setup.detectors.get_mut("HD").unwrap();
        detector.calibrations[0].valid_to = day("2026-05-31");
    });
    assert_eq!(story.codes(GateKind::HolidayTest), ["DETECTOR_NOT_CALIBRATED"]);
}

#[test]
fn a_quarantine_holds_from_its_first_instant_until_its_end() {
    // The inner wrap went on at 08:50.
    let held = |from: &str, until: &str| {
        let quarantine = Quarantine::of(at(from), Some(at(until)), "torn");
        let story = with_inner_lot(|it| it.quarantines = vec![quarantine]);
        story.codes(GateKind::Materials)
    };
    assert_eq!(held("2026-06-01T08:50:00Z", "2026-06-01T08:51:00Z"), ["LOT_QUARANTINED"]);
    assert!(held("2026-06-01T08:00:00Z", "2026-06-01T08:50:00Z").is_empty());
    assert!(held("2026-06-01T08:50:01Z", "2026-06-01T09:00:00Z").is_empty());
}

fn of_thickness(mm: f64) -> Story {
    clean().with(|it| {
        let system = it.setup.systems.get_mut("CT").unwrap();
        for layer in &mut system.layers[2..] {
            layer.thickness_mm = mm / 2.0;
        }
    })
}

#[test]
fn the_required_voltage_follows_from_the_layers_that_are_on() {
    // At least 5 kV plus 5 kV per mm up to a maximum of 20 kV: a line-pipe mill's laying
    // instructions (published).
    for (mm, kilovolts) in [(1.0, 10.0), (2.0, 15.0), (3.0, 20.0), (4.0, 20.0)] {
        let story = of_thickness(mm);
        let (state, entry) = (story.state(), &story.entry);
        let required = required_voltage(&state, story.setup.assignment(entry).unwrap());
        let found = required.unwrap().unwrap().voltage.as_kilovolts();
        assert!((found - kilovolts).abs() < 1e-9, "{mm} mm: {found}");
        assert_eq!(story.judged().required_voltage_kv, Some(found));
    }
    // One tape of 1 mm is on: 10 kV by the same rule.
    let one = clean().without(6).judged().required_voltage_kv.unwrap();
    assert!((one - 10.0).abs() < 1e-9, "{one}");
    assert_eq!(Story::given_nothing().judged().required_voltage_kv, None);
}

#[test]
fn a_set_voltage_exactly_as_required_passes() {
    for (mm, kilovolts) in [(1.0, 10.0), (1.48, 12.4), (2.0, 15.0), (3.0, 20.0)] {
        let at_voltage = |kv| of_thickness(mm).but(7, Event::HolidayTested(test(kv)));
        assert!(at_voltage(kilovolts).codes(GateKind::HolidayTest).is_empty(), "{mm} mm");
        let low = at_voltage(kilovolts - 0.001).codes(GateKind::HolidayTest);
        assert_eq!(low, ["HOLIDAY_TEST_VOLTAGE_LOW"], "{mm} mm");
    }
}

#[test]
fn a_fixed_voltage_of_12_kilovolts_is_held_as_the_least() {
    // 11.9 / 12.0 / 15.0 kV: fail / pass / pass: at least 12 000 V crest on tape-wrapped joints,
    // Unified Facilities Guide Specification 15555A, p. 93 (published).
    let at_voltage = |kv| {
        let story = clean().but(7, Event::HolidayTested(test(kv))).with(|it| {
            let method = VoltageMethod::FixedBand;
            let rule = VoltageRule { method, cap_kv: None, fixed_kv: Some(12.0) };
            it.setup.plans.get_mut("ITP").unwrap().voltage_rule = rule;
        });
        story.codes(GateKind::HolidayTest)
    };
    assert_eq!(at_voltage(11.9), ["HOLIDAY_TEST_VOLTAGE_LOW"]);
    assert!(at_voltage(12.0).is_empty());
    assert!(at_voltage(15.0).is_empty());
}

#[test]
fn the_electrode_may_travel_at_300_and_not_at_301_millimetres_a_second() {
    // At most 300 mm/s: specification in a gas transmission company's tender, pp. 87 and 433
    // (second-hand).
    let at_speed = |speed| {
        let story = tested_with(|it| it.travel_speed_mm_s = Some(speed));
        let findings = story.judged().findings;
        findings.iter().any(|finding| finding.code == "TRAVEL_TOO_FAST")
    };
    assert!(!at_speed(300.0));
    assert!(at_speed(301.0));
}
