//! Facts as clients send them.

use chrono::{DateTime, TimeDelta, Utc};
use serde_json::{Value, json};
use uuid::{NoContext, Timestamp, Uuid};

/// A minute of the test day, which begins on 10 June 2026 at 06:00 UTC.
pub fn minute(minute: i64) -> DateTime<Utc> {
    let day = DateTime::from_timestamp(1_781_071_200, 0).unwrap();
    day + TimeDelta::minutes(minute)
}

/// A fact: its id is made once, so that sending it again is sending the same.
#[derive(Debug, Clone)]
pub struct Fact(pub Value);

impl Fact {
    /// A fact of `kind` with the fields of its kind, at `minute` of the test day.
    pub fn new(kind: &str, at: i64, fields: Value) -> Self {
        let mut fact = fields;
        fact["id"] = json!(new_id(at));
        fact["kind"] = json!(kind);
        fact["occurred_at"] = json!(minute(at));
        Self(fact)
    }

    /// Its id.
    pub fn id(&self) -> String {
        self.0["id"].as_str().unwrap_or_default().to_owned()
    }

    /// The same with another value in `field`.
    #[must_use]
    pub fn with(mut self, field: &str, value: impl Into<Value>) -> Self {
        self.0[field] = value.into();
        self
    }

    /// The same without `field`.
    #[must_use]
    pub fn without(mut self, field: &str) -> Self {
        self.0.as_object_mut().unwrap().remove(field);
        self
    }

    /// The same as a correction of `wrong`.
    #[must_use]
    pub fn instead_of(self, wrong: &Self) -> Self {
        self.with("supersedes", wrong.id()).with("reason", "entered wrongly")
    }

    /// The same as an item of a batch.
    pub fn on(self, joint: &str) -> Value {
        self.with("joint", joint).0
    }
}

/// A new UUID of version 7.
fn new_id(at: i64) -> Uuid {
    let at = minute(at);
    let seconds = u64::try_from(at.timestamp()).unwrap();
    Uuid::new_v7(Timestamp::from_unix(NoContext, seconds, at.timestamp_subsec_nanos()))
}

fn ambient() -> Value {
    json!({ "air_c": 20.0, "relative_humidity_percent": 50.0, "steel_c": 22.0 })
}

/// The weld was made.
pub fn welded(at: i64) -> Fact {
    Fact::new("welded", at, json!({}))
}

/// The weld was accepted.
pub fn weld_accepted(at: i64) -> Fact {
    Fact::new("weld_accepted", at, json!({ "inspector": "P-INSPECTOR" }))
}

/// The steel was cleaned to the grade of the system.
pub fn prepared(at: i64) -> Fact {
    work("surface_prepared", at).with("grade", "St 3")
}

/// Primer of a good lot was put on.
pub fn primed(at: i64) -> Fact {
    work("primed", at).with("lots", json!(["L-PRIMER"]))
}

/// The inner tape of a good lot was put on.
pub fn wrapped_inner(at: i64) -> Fact {
    work("wrapped", at)
        .with("layer", "inner")
        .with("lots", json!(["L-INNER"]))
        .with("overlap_percent", 55.0)
}

/// The outer tape of a good lot was put on.
pub fn wrapped_outer(at: i64) -> Fact {
    work("wrapped", at)
        .with("layer", "outer")
        .with("lots", json!(["L-OUTER"]))
        .with("overlap_percent", 55.0)
}

fn work(kind: &str, at: i64) -> Fact {
    let fields = json!({ "crew": "A1", "applicator": "P-CREW", "ambient": ambient() });
    Fact::new(kind, at, fields)
}

/// A holiday test that passed, at more than the required voltage.
pub fn passed_test(at: i64) -> Fact {
    let fields = json!({
        "result": "pass", "voltage_kv": 15.0, "detector": "HD-1", "holidays_found": 0,
        "travel_speed_mm_s": 200.0, "inspector": "P-INSPECTOR",
    });
    Fact::new("holiday_tested", at, fields)
}

/// A holiday test that failed.
pub fn failed_test(at: i64) -> Fact {
    passed_test(at).with("result", "fail").with("holidays_found", 2)
}

/// Damage was found.
pub fn damage_found(at: i64) -> Fact {
    Fact::new("damage_found", at, json!({ "description": "cut by a sling" }))
}

/// Everything open was repaired as it should be.
pub fn repaired(at: i64) -> Fact {
    work("repaired", at)
        .with("damaged_area_removed", true)
        .with("cleaned", true)
        .with("primed", true)
        .with("wrap", "full_circumference")
        .with("lots", json!(["L-INNER"]))
}

/// The pipe was lowered.
pub fn lowered(at: i64) -> Fact {
    Fact::new("lowered", at, json!({}))
}

/// The joint was covered.
pub fn backfilled(at: i64) -> Fact {
    Fact::new("backfilled", at, json!({}))
}

/// Everything up to the last layer, from minute 0 to minute 50.
pub fn coating() -> Vec<Fact> {
    vec![
        welded(0),
        weld_accepted(10),
        prepared(20),
        primed(30),
        wrapped_inner(40),
        wrapped_outer(50),
    ]
}

/// Everything that a release takes: the coating and a passed test at minute 60.
pub fn everything() -> Vec<Fact> {
    let mut facts = coating();
    facts.push(passed_test(60));
    facts
}
