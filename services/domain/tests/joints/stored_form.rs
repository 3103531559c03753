//! The form in which facts are kept: it is a contract with our own past.

use chrono::{DateTime, Utc};
use domain::{
    ids::EventId,
    joints::{
        Event, UsedQuantities, UsedQuantity,
        event::{
            Ambient, CutOut, DamageFound, HolidayTested, PeelSpecimen, PeelTested, Profiled,
            RepairWrap, Repaired, SurfacePrepared, TestResult, VisuallyInspected, WeldAccepted,
            WeldRejected, Welded, WrapLayer,
        },
        fact::{NewFact, parse},
    },
};
use expect_test::expect;
use proptest::prelude::*;
use serde_json::{Value, json};

use crate::builder::{at, damage, id, wrapping};

/// What the fields of an event are made of.
#[derive(Debug, Clone)]
struct Fields {
    text: Option<String>,
    /// Over 0, at most 1.
    share: f64,
    given: bool,
    instant: Option<DateTime<Utc>>,
}

fn fields() -> impl Strategy<Value = Fields> {
    let text = prop::option::of("[a-zA-Z0-9 äß€\"\\\\]{1,20}");
    let instant = prop::option::of(0..4_000_000_000_000_000i64);
    (text, 0.001..=1.0f64, any::<bool>(), instant).prop_map(|(text, share, given, micros)| {
        let instant = micros.and_then(DateTime::from_timestamp_micros);
        Fields { text, share, given, instant }
    })
}

/// The event of a kind with every field made of `from`.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "at most 10 000")]
#[expect(clippy::too_many_lines, reason = "one line for each kind")]
fn event_of(kind: &str, from: &Fields) -> Event {
    let Fields { text, share, given, instant } = from.clone();
    let (result, specimen, wrap) = if given {
        (TestResult::Pass, PeelSpecimen::Coupon, RepairWrap::Patch)
    } else {
        (TestResult::Fail, PeelSpecimen::Joint, RepairWrap::FullCircumference)
    };
    let word = text.clone().unwrap_or_else(|| "x".into());
    let some = |value: f64| given.then_some(value);
    let lots: Vec<String> = text.iter().cloned().collect();
    // Under a thousandth is no quantity.
    let used = UsedQuantity((1000.0 * share).round() / 1000.0);
    let said = lots.iter().filter(|_| given);
    let quantities: UsedQuantities = said.map(|lot| (lot.clone(), used)).collect();
    let ambient = given.then_some(Ambient {
        air_c: 130.0 * share - 60.0,
        relative_humidity_percent: 100.0 * share,
        steel_c: 210.0 * share - 60.0,
        measured_at: instant,
    });
    let (crew, applicator, inspector, note) = (text.clone(), text.clone(), text.clone(), text);
    let (cause, report, welder, description) =
        (note.clone(), note.clone(), note.clone(), note.clone());
    match kind {
        "welded" => Event::Welded(Welded { welder, note }),
        "weld_accepted" => Event::WeldAccepted(WeldAccepted { inspector, report, note }),
        "weld_rejected" => Event::WeldRejected(WeldRejected { inspector, report, cause, note }),
        "weld_repaired" => {
            Event::WeldRepaired(domain::joints::event::WeldRepaired { welder, note })
        }
        "cut_out" => Event::CutOut(CutOut { cause, note }),
        "surface_prepared" => {
            let grade = word;
            Event::SurfacePrepared(SurfacePrepared { grade, crew, applicator, ambient, note })
        }
        "primed" => Event::Primed(domain::joints::event::Primed {
            lots,
            quantities,
            crew,
            applicator,
            ambient,
            note,
        }),
        "profiled" => {
            Event::Profiled(Profiled { lots, quantities, crew, applicator, ambient, note })
        }
        "wrapped" => {
            let layer = if given { WrapLayer::Inner } else { WrapLayer::Armour };
            let overlap_percent = some(199.0 * share - 100.0);
            Event::Wrapped(domain::joints::event::Wrapped {
                lots,
                quantities,
                crew,
                applicator,
                ambient,
                note,
                overlap_percent,
                ..wrapping(layer)
            })
        }
        "holiday_tested" => Event::HolidayTested(HolidayTested {
            result,
            voltage_kv: 60.0 * share,
            detector: word,
            holidays_found: given.then_some((10_000.0 * share) as u32),
            travel_speed_mm_s: some(5000.0 * share),
            inspector,
            ambient,
            note,
        }),
        "lowered" => Event::Lowered(domain::joints::event::Lowered { note }),
        "backfilled" => Event::Backfilled(domain::joints::event::Backfilled { note }),
        "visually_inspected" => {
            Event::VisuallyInspected(VisuallyInspected { result, inspector, note })
        }
        "thickness_measured" => {
            let thickness_mm = 100.0 * share;
            let fields = domain::joints::event::ThicknessMeasured { thickness_mm, inspector, note };
            Event::ThicknessMeasured(fields)
        }
        "peel_tested" => {
            let force_n_per_mm = some(1000.0 * share);
            Event::PeelTested(PeelTested { result, force_n_per_mm, specimen, inspector, note })
        }
        "damage_found" => {
            let clock_position_h = some(12.0 * share);
            Event::DamageFound(DamageFound { description, clock_position_h, note })
        }
        "repaired" => Event::Repaired(Repaired {
            repairs: given.then_some(id(7)),
            damaged_area_removed: given,
            cleaned: !given,
            primed: given,
            wrap,
            lots,
            quantities,
            crew,
            applicator,
            ambient,
            note,
        }),
        "excavated" => Event::Excavated(domain::joints::event::Excavated { cause, note }),
        "superseded" => Event::Superseded(domain::joints::event::Superseded { note }),
        other => panic!("no event of kind {other}"),
    }
}

fn as_sent(fact: &NewFact) -> Value {
    let mut sent = serde_json::to_value(&fact.event).unwrap();
    sent["id"] = json!(fact.id);
    sent["occurred_at"] = json!(fact.occurred_at);
    if let Some(supersedes) = fact.supersedes {
        sent["supersedes"] = json!(supersedes);
        sent["reason"] = json!(fact.reason);
    }
    sent
}

proptest! {
    #[test]
    fn a_fact_of_any_kind_is_read_back_as_it_was_written(
        fields in fields(),
        number in 1000u128..,
        micros in 0..4_000_000_000_000_000i64,
    ) {
        for kind in Event::KINDS {
            let event = event_of(kind, &fields);
            prop_assert_eq!(event.kind(), kind);
            let supersedes: Option<EventId> =
                (kind == "superseded" || fields.given).then(|| id(5));
            let fact = NewFact {
                id: id(number),
                occurred_at: DateTime::from_timestamp_micros(micros).unwrap(),
                supersedes,
                reason: supersedes.map(|_| "written on the wrong joint".into()),
                event,
            };
            let sent = as_sent(&fact);
            prop_assert_eq!(parse(&sent).unwrap(), fact.clone());
            // As it comes over the wire and out of the archive: as text.
            let text = serde_json_canonicalizer::to_vec(&sent).unwrap();
            prop_assert_eq!(parse(&serde_json::from_slice(&text).unwrap()).unwrap(), fact);
        }
    }
}

#[test]
fn an_entry_that_would_withdraw_itself_is_refused() {
    let reason = Some("written on the wrong joint".into());
    let occurred_at = at("2026-06-01T08:00:00Z");
    let event = damage();
    let fact = NewFact { id: id(5), occurred_at, supersedes: Some(id(5)), reason, event };
    let faults = parse(&as_sent(&fact)).unwrap_err();
    assert_eq!(faults.len(), 1);
    assert_eq!(faults[0].code, "SUPERSEDES_ITSELF");
}

fn archived(fields: &Fields) -> String {
    let lines = Event::KINDS.map(|kind| serde_json::to_string(&event_of(kind, fields)).unwrap());
    lines.join("\n")
}

#[test]
fn the_stored_form_of_each_kind_with_every_field_never_changes() {
    let instant = Some(at("2026-06-01T08:00:00.5Z"));
    let full = Fields { text: Some("T".into()), share: 0.5, given: true, instant };
    expect![[r#"
        {"kind":"welded","welder":"T","note":"T"}
        {"kind":"weld_accepted","inspector":"T","report":"T","note":"T"}
        {"kind":"weld_rejected","inspector":"T","report":"T","cause":"T","note":"T"}
        {"kind":"weld_repaired","welder":"T","note":"T"}
        {"kind":"cut_out","cause":"T","note":"T"}
        {"kind":"surface_prepared","grade":"T","crew":"T","applicator":"T","ambient":{"air_c":5.0,"relative_humidity_percent":50.0,"steel_c":45.0,"measured_at":"2026-06-01T08:00:00.500Z"},"note":"T"}
        {"kind":"primed","lots":["T"],"quantities":{"T":0.5},"crew":"T","applicator":"T","ambient":{"air_c":5.0,"relative_humidity_percent":50.0,"steel_c":45.0,"measured_at":"2026-06-01T08:00:00.500Z"},"note":"T"}
        {"kind":"profiled","lots":["T"],"quantities":{"T":0.5},"crew":"T","applicator":"T","ambient":{"air_c":5.0,"relative_humidity_percent":50.0,"steel_c":45.0,"measured_at":"2026-06-01T08:00:00.500Z"},"note":"T"}
        {"kind":"wrapped","layer":"inner","lots":["T"],"quantities":{"T":0.5},"overlap_percent":-0.5,"crew":"T","applicator":"T","ambient":{"air_c":5.0,"relative_humidity_percent":50.0,"steel_c":45.0,"measured_at":"2026-06-01T08:00:00.500Z"},"note":"T"}
        {"kind":"holiday_tested","result":"pass","voltage_kv":30.0,"detector":"T","holidays_found":5000,"travel_speed_mm_s":2500.0,"inspector":"T","ambient":{"air_c":5.0,"relative_humidity_percent":50.0,"steel_c":45.0,"measured_at":"2026-06-01T08:00:00.500Z"},"note":"T"}
        {"kind":"lowered","note":"T"}
        {"kind":"backfilled","note":"T"}
        {"kind":"visually_inspected","result":"pass","inspector":"T","note":"T"}
        {"kind":"thickness_measured","thickness_mm":50.0,"inspector":"T","note":"T"}
        {"kind":"peel_tested","result":"pass","force_n_per_mm":500.0,"specimen":"coupon","inspector":"T","note":"T"}
        {"kind":"damage_found","description":"T","clock_position_h":6.0,"note":"T"}
        {"kind":"repaired","repairs":"00000000-0000-0000-0000-000000000007","damaged_area_removed":true,"cleaned":false,"primed":true,"wrap":"patch","lots":["T"],"quantities":{"T":0.5},"crew":"T","applicator":"T","ambient":{"air_c":5.0,"relative_humidity_percent":50.0,"steel_c":45.0,"measured_at":"2026-06-01T08:00:00.500Z"},"note":"T"}
        {"kind":"excavated","cause":"T","note":"T"}
        {"kind":"superseded","note":"T"}"#]].assert_eq(&archived(&full));
}

#[test]
fn the_stored_form_of_each_kind_with_its_required_fields_never_changes() {
    let bare = Fields { text: None, share: 0.5, given: false, instant: None };
    expect![[r#"
        {"kind":"welded"}
        {"kind":"weld_accepted"}
        {"kind":"weld_rejected"}
        {"kind":"weld_repaired"}
        {"kind":"cut_out"}
        {"kind":"surface_prepared","grade":"x"}
        {"kind":"primed","lots":[]}
        {"kind":"profiled","lots":[]}
        {"kind":"wrapped","layer":"armour","lots":[]}
        {"kind":"holiday_tested","result":"fail","voltage_kv":30.0,"detector":"x"}
        {"kind":"lowered"}
        {"kind":"backfilled"}
        {"kind":"visually_inspected","result":"fail"}
        {"kind":"thickness_measured","thickness_mm":50.0}
        {"kind":"peel_tested","result":"fail","specimen":"joint"}
        {"kind":"damage_found"}
        {"kind":"repaired","damaged_area_removed":false,"cleaned":true,"primed":false,"wrap":"full_circumference","lots":[]}
        {"kind":"excavated"}
        {"kind":"superseded"}"#]].assert_eq(&archived(&bare));
}

#[test]
fn every_stored_form_is_read_back() {
    for given in [true, false] {
        let fields = Fields { text: None, share: 0.25, given, instant: None };
        for kind in Event::KINDS {
            let event = event_of(kind, &fields);
            let text = serde_json::to_string(&event).unwrap();
            assert_eq!(serde_json::from_str::<Event>(&text).unwrap(), event);
        }
    }
}
