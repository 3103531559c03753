//! The outlook of the stock, on small situations that can be worked by hand.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

use std::{collections::BTreeMap, sync::Arc};

use chrono::NaiveDate;
use domain::{
    condition::Urgency,
    joints::{JointKind, state::LayerRole},
    outlook::{
        Basis, Change, DayMade, Expected, Held, JointsWaiting, Outlook, Situation, Terms,
        WorkableShare, apply, conditions, demand, learnt_rate, outlook, shelf_life,
    },
    setup::{Kind, PlanLine, ProductionPlan, ProjectSetup},
    takeoff::JointGroup,
};
use proptest::prelude::*;
use serde_json::json;
use uuid::Uuid;

/// A Monday.
fn day(offset: i64) -> NaiveDate {
    let monday = NaiveDate::from_ymd_opt(2026, 6, 1).unwrap();
    monday + chrono::TimeDelta::days(offset)
}

/// A line of two sections whose joints take 0.1 L of primer each (πD of 1 m, 0.8 m primed,
/// 8 m²/L, no loss) and, in S2 only, tape.
fn setup() -> ProjectSetup {
    let mut setup = ProjectSetup::empty(chrono_tz::UTC);
    let diameter_mm = 1000.0 / std::f64::consts::PI;
    let tape = json!({"roll_width_mm": 100, "roll_length_m": 10, "thickness_mm": 0,
                      "waste_percent": 0});
    let layer = |role: &str, material: &str| {
        json!({"role": role, "material": material, "thickness_mm": 0, "lap_mm": 100,
               "overlap_percent": 50})
    };
    let items = [
        (
            Kind::LinePipe,
            json!({"code": "P", "outside_diameter_mm": diameter_mm, "wall_mm": 10,
            "plant_coating": "polyethylene", "plant_coating_thickness_mm": 3, "cutback_mm": 300}),
        ),
        (Kind::Spread, json!({"code": "A", "name": "A"})),
        (Kind::Spread, json!({"code": "B", "name": "B"})),
        (
            Kind::Material,
            json!({"code": "PR", "name": "Primer",
            "primer": {"coverage_m2_per_l": 8, "loss_percent": 0}}),
        ),
        (Kind::Material, json!({"code": "IN", "name": "Inner", "tape": tape})),
        (Kind::Material, json!({"code": "OUT", "name": "Outer", "tape": tape})),
        (
            Kind::CoatingSystem,
            json!({"code": "C1", "name": "C1", "surface_grade": "St 3",
            "layers": [layer("primer", "PR"), layer("inner_wrap", "IN")]}),
        ),
        (
            Kind::CoatingSystem,
            json!({"code": "C2", "name": "C2", "surface_grade": "St 3",
            "layers": [layer("primer", "PR"), layer("outer_wrap", "OUT")]}),
        ),
        (Kind::Section, section("S1", "A", "C1", 0.0)),
        (Kind::Section, section("S2", "B", "C2", 10.0)),
    ];
    for (kind, body) in items {
        let code = body["code"].as_str().unwrap().to_owned();
        setup.insert(kind, code, body).unwrap();
    }
    setup
}

fn section(code: &str, spread: &str, system: &str, kp_km: f64) -> serde_json::Value {
    json!({"code": code, "name": code, "kp_from_km": kp_km, "kp_to_km": kp_km + 10.0,
           "line_pipe": "P", "coating_system": system, "spread": spread, "inspection_plan": "IP",
           "backfill": "screened", "design_temperature_c": 20})
}

fn plan(lines: &[(&str, &str, i64, i64, f64)]) -> ProductionPlan {
    let lines = lines.iter().map(|(spread, section, from, to, joints_per_day)| PlanLine {
        spread: (*spread).to_owned(),
        section: (*section).to_owned(),
        from: day(*from),
        to: day(*to),
        joints_per_day: *joints_per_day,
    });
    ProductionPlan { lines: lines.collect() }
}

fn waiting(section: &str, on: &[LayerRole], joints: u64) -> JointsWaiting {
    let group =
        JointGroup { section: section.to_owned(), kind: JointKind::Mainline, coating_system: None };
    JointsWaiting { group, on: on.to_vec(), joints }
}

fn held(lot: &str, material: &str, quantity: f64, last: Option<i64>) -> Held {
    Held {
        lot: lot.to_owned(),
        material: material.to_owned(),
        quantity,
        last_day: last.map(day),
        quarantined: false,
    }
}

fn situation() -> Situation {
    let mut setup = setup();
    setup.production_plan = plan(&[("A", "S1", 0, 11, 10.0), ("B", "S2", 7, 18, 5.0)]);
    let terms =
        |unit: &str| Terms { name: unit.to_owned(), unit: unit.to_owned(), ..Terms::default() };
    Situation {
        today: day(0),
        days: 30,
        basis: Basis::Plan,
        setup: Arc::new(setup),
        joints: vec![
            waiting("S1", &[], 60),
            waiting("S1", &[LayerRole::Primer], 10),
            waiting("S2", &[], 40),
        ],
        held: vec![held("P1", "PR", 5.0, None)],
        expected: Vec::new(),
        made: Vec::new(),
        waste: BTreeMap::new(),
        terms: [("PR", "L"), ("IN", "m"), ("OUT", "m")]
            .map(|(code, unit)| (code.to_owned(), terms(unit)))
            .into(),
        lost: Vec::new(),
        workable: Vec::new(),
    }
}

fn of<'a>(outlook: &'a Outlook, code: &str) -> &'a domain::outlook::MaterialOutlook {
    outlook.materials.iter().find(|it| it.material == code).unwrap()
}

fn close(found: f64, expected: f64) {
    assert!((found - expected).abs() < 1e-9 * expected.abs().max(1.0), "{found} for {expected}");
}

#[test]
fn the_weather_leaves_a_planned_day_its_share() {
    let share = |spread: &str, system: &str, on, share| WorkableShare {
        spread: spread.to_owned(),
        system: system.to_owned(),
        on: day(on),
        share,
    };
    // 10 joints a day on S1, which is coated with C1; what is told of other systems and spreads is
    // nothing to it.
    let mut told = situation();
    told.workable = vec![
        share("A", "C1", 0, 0.3),
        share("A", "C1", 1, 0.0),
        share("A", "C2", 2, 0.0),
        share("B", "C1", 2, 0.0),
    ];
    assert_eq!(demand(&told).joints[..4], [3.0, 0.0, 10.0, 10.0]);
    // A learnt rate comes from days that had their weather: only a day without an hour is lost.
    let made = |back: i64| DayMade { spread: "A".to_owned(), on: day(-back), joints: 8.0 };
    told.made = vec![made(2), made(3), made(4)];
    told.basis = Basis::Actual;
    assert_eq!(demand(&told).joints[..3], [8.0, 0.0, 8.0]);
}

#[test]
fn the_plan_is_worked_off_day_by_day() {
    // By hand. S1: 70 joints, 10 a day but Sunday (day 6): days 0–5 and 7, then none are left.
    // S2: 40 joints, 5 a day from Monday (day 7) to day 12, and from day 14: days 7–12, 14, 15.
    let demand = demand(&situation());
    let expected = |on: usize| match on {
        0..=5 => 10.0,
        7 => 15.0,
        8..=12 | 14 | 15 => 5.0,
        _ => 0.0,
    };
    for (on, joints) in demand.joints.iter().enumerate() {
        close(*joints, expected(on));
    }
    // 60 of the 70 joints of S1 still take their 0.1 L, so one of these takes 6/70 L on average.
    close(demand.by_material["PR"][0], 10.0 * 6.0 / 70.0);
    close(demand.by_material["PR"][8], 0.5);
    close(demand.left["PR"], 10.0);
    close(demand.by_material["OUT"].iter().sum(), demand.left["OUT"]);
    // Joints with their primer on still take their tape: that is reserved.
    close(demand.reserved["IN"], demand.left["IN"] / 7.0);
    assert!(!demand.reserved.contains_key("PR"));
    close(demand.joints_after, 0.0);
}

#[test]
fn who_is_ahead_of_the_plan_goes_on_with_the_next_section() {
    let mut situation = situation();
    let lines = [("A", "S1", 0, 9, 10.0), ("A", "S2", 10, 20, 10.0)];
    Arc::make_mut(&mut situation.setup).production_plan = plan(&lines);
    // 14 are left in S1, so that of the second day's ten six are made in S2.
    situation.joints[0].joints = 4;
    let demand = demand(&situation);
    assert_eq!(demand.joints[..6], [10.0, 10.0, 10.0, 10.0, 10.0, 4.0]);
    close(demand.by_material["OUT"][1] / demand.by_material["OUT"][2], 0.6);
}

#[test]
fn what_was_made_today_does_not_come_again() {
    let mut situation = situation();
    let made = |joints| DayMade { spread: "A".to_owned(), on: day(0), joints };
    situation.made = vec![made(4.0)];
    close(demand(&situation).joints[0], 6.0);
    situation.made = vec![made(14.0)];
    close(demand(&situation).joints[0], 0.0);
    close(demand(&situation).joints[1], 10.0);
}

#[test]
fn by_what_was_made_the_sections_follow_each_other() {
    let mut situation = situation();
    situation.basis = Basis::Actual;
    let setup = Arc::make_mut(&mut situation.setup);
    setup.sections.get_mut("S2").unwrap().spread = Some("A".to_owned());
    // Monday to Saturday of the week before: 8 a day but one lost day; Sunday is not counted.
    situation.made = [8.0, 8.0, 8.0, 16.0, 8.0]
        .into_iter()
        .zip([-7, -6, -5, -3, -2])
        .map(|(joints, on)| DayMade { spread: "A".to_owned(), on: day(on), joints })
        .collect();
    let rate = learnt_rate(&situation, "A").unwrap();
    assert_eq!(rate.days, 6);
    close(rate.joints_per_day, 8.0);
    // 70 in S1 and 40 in S2: 13 working days of 8 and one of 6; on the ninth, 6 of S1 and 2 of S2.
    let demand = demand(&situation);
    let worked: Vec<f64> = demand.joints.iter().copied().filter(|joints| *joints > 0.0).collect();
    assert_eq!(worked.len(), 14);
    close(worked[13], 6.0);
    let outer: Vec<f64> =
        demand.by_material["OUT"].iter().copied().filter(|it| *it > 0.0).collect();
    close(outer[0] / outer[1], 2.0 / 8.0);
    assert!(learnt_rate(&situation, "B").is_none());
}

#[test]
fn primer_that_runs_dry_before_its_delivery_is_said_with_the_days() {
    // 6/7 L a day: 5 L cover five days, and the sixth (day 5, Saturday) is short.
    let mut situation = situation();
    let terms = situation.terms.get_mut("PR").unwrap();
    (terms.lead_time_days, terms.safety_days, terms.pack_quantity) = (10, 2, Some(4.0));
    situation.expected.push(Expected {
        id: Uuid::from_u128(1),
        material: "PR".to_owned(),
        quantity: 3.0,
        on: day(7),
    });
    let found = outlook(&situation, true).unwrap();
    let primer = of(&found, "PR");
    assert_eq!(primer.run_out_on, Some(day(5)));
    assert_eq!(primer.days_of_cover, 5);
    assert_eq!(primer.order_by, Some(day(-7)));
    assert_eq!(primer.next_delivery_on, Some(day(7)));
    // 10 L are taken in all; what day 5 misses is not made up, 3 L come later.
    let day_five = 6.0 / 7.0 * 6.0 - 5.0;
    let after = 10.0 - 6.0 / 7.0 * 6.0 - 3.0;
    close(primer.shortage, day_five + after);
    close(primer.order_quantity, 4.0);
    let seen = conditions(&found);
    let kinds: Vec<(&str, &str)> =
        seen.iter().map(|it| (it.kind, it.subject.as_str())).filter(|it| it.1 == "PR").collect();
    assert_eq!(kinds, [("runs_out_before_delivery", "PR"), ("shortage", "PR"), ("order_by", "PR")]);
    let dry = seen.iter().find(|it| it.kind == "runs_out_before_delivery").unwrap();
    assert_eq!(dry.values["days_dry"], json!(2));
    assert_eq!(dry.urgency, Urgency::Urgent);
    assert!(dry.detail.contains("2 days before the delivery of 2026-06-08"), "{}", dry.detail);
}

#[test]
fn changes_are_made_or_named() {
    let mut slower = situation();
    apply(&mut slower, &[Change::Rate { spread: Some("A".to_owned()), percent: -50.0 }]).unwrap();
    close(demand(&slower).joints[0], 5.0);
    let mut wet = situation();
    apply(&mut wet, &[Change::DaysLost { spread: None, days: 2 }]).unwrap();
    assert_eq!(demand(&wet).joints[..3], [0.0, 0.0, 10.0]);
    let mut swapped = situation();
    let change = Change::System { section: "S1".to_owned(), coating_system: "C2".to_owned() };
    apply(&mut swapped, &[change]).unwrap();
    let (before, after) = (demand(&situation()), demand(&swapped));
    // The ten that are begun stay what they are.
    close(after.left["IN"], before.left["IN"] / 7.0);
    close(after.left["OUT"], before.left["OUT"] * 100.0 / 40.0);
    let unknown = [
        Change::Rate { spread: Some("Z".to_owned()), percent: 1.0 },
        Change::DeliveryLate { delivery: Uuid::from_u128(7), days: 1 },
        Change::System { section: "S1".to_owned(), coating_system: "C9".to_owned() },
    ];
    let faults = apply(&mut situation(), &unknown).unwrap_err();
    let pointers: Vec<&str> = faults.iter().map(|it| it.pointer.as_str()).collect();
    assert_eq!(
        pointers,
        ["#/what_if/0/spread", "#/what_if/1/delivery", "#/what_if/2/coating_system"]
    );
}

#[test]
fn lots_are_warned_of_at_thirty_fourteen_and_seven_days() {
    use Urgency::{Notice, Urgent};
    // The steps are common practice, no source.
    let step = |last: i64| {
        let mut situation = situation();
        situation.held = vec![held("P1", "PR", 5.0, Some(last))];
        let seen = shelf_life(&situation).pop()?;
        Some((seen.kind, seen.values["within_days"].as_i64(), seen.urgency))
    };
    assert_eq!(step(31), None);
    assert_eq!(step(30), Some(("lot_expires_soon", Some(30), Notice)));
    assert_eq!(step(15), Some(("lot_expires_soon", Some(30), Notice)));
    assert_eq!(step(14), Some(("lot_expires_soon", Some(14), Notice)));
    assert_eq!(step(7), Some(("lot_expires_soon", Some(7), Urgent)));
    // On its last day it may be used.
    assert_eq!(step(0), Some(("lot_expires_soon", Some(7), Urgent)));
    assert_eq!(step(-1), Some(("lot_expired_on_hand", None, Urgent)));
}

#[test]
fn what_cannot_be_used_is_on_hand_and_not_usable() {
    let mut situation = situation();
    situation.held = vec![
        held("P1", "PR", 3.0, None),
        held("P2", "PR", 2.0, Some(-1)),
        Held { quarantined: true, ..held("P3", "PR", 4.0, None) },
    ];
    let found = outlook(&situation, false).unwrap();
    let primer = of(&found, "PR");
    assert_eq!((primer.on_hand, primer.usable), (9.0, 3.0));
    assert_eq!(primer.expired[0].lot.as_deref(), Some("P2"));
}

proptest! {
    /// Joints and material are neither made up nor lost, whatever is planned.
    #[test]
    fn nothing_is_made_up_or_lost(
        lines in prop::collection::vec((0_usize..2, 0_usize..2, 0_i64..40, 0_i64..20, 0.0..30.0), 0..8),
        joints in prop::collection::vec(0_u64..80, 3),
        days in 1_u32..60,
    ) {
        let mut situation = situation();
        situation.days = days;
        let lines: Vec<_> = lines.iter().map(|(spread, section, from, long, rate)| {
            (["A", "B"][*spread], ["S1", "S2"][*section], *from, from + long, *rate)
        }).collect();
        Arc::make_mut(&mut situation.setup).production_plan = plan(&lines);
        for (waiting, joints) in situation.joints.iter_mut().zip(joints) {
            waiting.joints = joints;
        }
        let demand = demand(&situation);
        let made: f64 = demand.joints.iter().sum();
        prop_assert!((made + demand.joints_after - demand.joints_left).abs() < 1e-6);
        for (index, joints) in demand.joints.iter().enumerate() {
            let on = day(i64::try_from(index).unwrap());
            let most: f64 = lines.iter()
                .filter(|(_, _, from, to, _)| day(*from) <= on && on <= day(*to))
                .map(|(.., rate)| rate).sum();
            let bound = if index % 7 == 6 { 0.0 } else { most + 1e-9 };
            prop_assert!(*joints <= bound);
        }
        for (material, by_day) in &demand.by_material {
            let taken: f64 = by_day.iter().sum();
            prop_assert!(taken <= demand.left[material] * (1.0 + 1e-9));
            if demand.joints_after < 1e-9 {
                prop_assert!((taken - demand.left[material]).abs() < 1e-6);
            }
        }
    }
}
