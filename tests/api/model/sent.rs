//! An entry as it is sent.

use harness::{
    Fact,
    fact::{
        backfilled, damage_found, lowered, passed_test, prepared, primed, repaired, weld_accepted,
        welded, wrapped_inner, wrapped_outer,
    },
    minute,
};
use serde_json::{Value, json};
use uuid::Uuid;

use super::entry::{Applicator, Change, Entry, Lots, Test, Weather, What, Work};

/// Ids are no clue to the order of arrival: tablets make them.
pub fn id_order(number: u32) -> u32 {
    number.wrapping_mul(2_654_435_761)
}

/// The id of the entry of that number, a UUID of version 7.
pub fn id(number: u32) -> Uuid {
    let version_and_variant = (7 << 76) | (2 << 62);
    let milliseconds = u128::try_from(minute(0).timestamp_millis()).unwrap();
    Uuid::from_u128((milliseconds << 80) | version_and_variant | u128::from(id_order(number)))
}

impl Entry {
    /// As it is sent.
    pub fn json(&self, change: Change) -> Fact {
        let at = if change == Change::Time { self.at + 1 } else { self.at };
        let fact = self.what.json(at).with("id", id(self.number).to_string());
        let fact = match change {
            Change::Note => fact.with("note", "written again"),
            Change::Nothing | Change::Time => fact,
        };
        match self.supersedes {
            Some(wrong) => {
                fact.with("supersedes", id(wrong).to_string()).with("reason", "entered wrongly")
            }
            None => fact,
        }
    }
}

fn worked(fact: Fact, work: Work) -> Fact {
    let fact = match work.applicator {
        Applicator::Crew => fact.with("applicator", "P-CREW"),
        Applicator::WrappingQa => fact.with("applicator", "P-QA"),
        Applicator::Novice => fact.with("applicator", "P-NOVICE"),
        Applicator::Unnamed => fact.without("applicator"),
    };
    let fact = match work.lots {
        Lots::Good => fact,
        Lots::Expired => fact.with("lots", json!(["L-EXPIRED"])),
        Lots::Unknown => fact.with("lots", json!(["L-UNHEARD-OF"])),
        Lots::Unnamed => fact.with("lots", json!([])),
    };
    match work.weather {
        Weather::Dry => fact,
        Weather::NotRead => fact.without("ambient"),
        Weather::Wet => {
            let mut ambient = fact.0["ambient"].clone();
            ambient["relative_humidity_percent"] = json!(95.0);
            fact.with("ambient", ambient)
        }
        Weather::ReadLongBefore => {
            let at: chrono::DateTime<chrono::Utc> =
                serde_json::from_value(fact.0["occurred_at"].clone()).unwrap();
            let mut ambient = fact.0["ambient"].clone();
            ambient["measured_at"] = json!(at - chrono::TimeDelta::minutes(241));
            fact.with("ambient", ambient)
        }
    }
}

fn tested(at: i64, test: Test) -> Fact {
    let fact = passed_test(at)
        .with("result", if test.says_passed { "pass" } else { "fail" })
        .with("voltage_kv", f64::from(test.volts) / 1_000.0)
        .with("detector", if test.calibrated { "HD-1" } else { "HD-OLD" })
        .with("travel_speed_mm_s", if test.slow_enough { 300.0 } else { 300.5 });
    let fact = match test.holidays {
        Some(count) => fact.with("holidays_found", count),
        None => fact.without("holidays_found"),
    };
    match test.inspector {
        Some(true) => fact,
        Some(false) => fact.with("inspector", "P-CREW"),
        None => fact.without("inspector"),
    }
}

impl What {
    fn json(self, at: i64) -> Fact {
        let plain = |kind: &str, fields: Value| Fact::new(kind, at, fields);
        let result = |passed: bool| if passed { "pass" } else { "fail" };
        match self {
            Self::Welded => welded(at),
            Self::WeldAccepted => weld_accepted(at),
            Self::WeldRejected => plain("weld_rejected", json!({})),
            Self::WeldRepaired => plain("weld_repaired", json!({})),
            Self::CutOut => plain("cut_out", json!({})),
            Self::Prepared { work, clean } => {
                // A preparation uses no material.
                let grade = if clean { "St 3" } else { "St 2" };
                worked(prepared(at), Work { lots: Lots::Good, ..work }).with("grade", grade)
            }
            Self::Primed(work) => worked(primed(at), work),
            Self::Profiled(work) => {
                let kind = |fact: Fact| fact.with("kind", "profiled");
                worked(kind(primed(at)), work)
            }
            Self::Inner { work, overlap } => worked(wrapped_inner(at), work)
                .with("overlap_percent", if overlap { 50.0 } else { 49.9 }),
            Self::Outer(work) => worked(wrapped_outer(at), work),
            Self::Tested(test) => tested(at, test),
            Self::Lowered => lowered(at),
            Self::Backfilled => backfilled(at),
            Self::Looked { passed } => {
                plain("visually_inspected", json!({ "result": result(passed) }))
            }
            Self::Measured => plain("thickness_measured", json!({ "thickness_mm": 1.4 })),
            Self::Peeled { passed, on_joint: true } => {
                plain("peel_tested", json!({ "result": result(passed) }))
            }
            Self::Peeled { passed, on_joint: false } => {
                plain("peel_tested", json!({ "result": result(passed), "specimen": "coupon" }))
            }
            Self::Damaged => damage_found(at),
            Self::Repaired { work, of, patch, cleaned } => {
                let fact = worked(repaired(at), work).with("cleaned", cleaned);
                let fact = if patch { fact.with("wrap", "patch") } else { fact };
                match of {
                    Some(hole) => fact.with("repairs", id(hole).to_string()),
                    None => fact,
                }
            }
            Self::Excavated => plain("excavated", json!({})),
            Self::Withdrawn => plain("superseded", json!({})),
        }
    }
}
