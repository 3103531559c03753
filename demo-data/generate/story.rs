//! What there is to see, and on which joints.

use chrono::{DateTime, NaiveDate, Utc};
use domain::ids::EventId;
use serde::Serialize;

use super::{
    calendar::{self, LAST},
    lots, setup, testing, users, weather,
};

#[derive(Serialize)]
pub struct Story {
    pub first_day: NaiveDate,
    pub last_day: NaiveDate,
    /// Nothing was sent after it.
    pub last_fact_at: Option<DateTime<Utc>>,
    /// Wrapped and lowered, never tested: its release is refused.
    pub untested_joint: String,
    /// Released, then damaged on the last day, not repaired.
    pub damaged_joint: String,
    /// Damaged after its release, repaired, tested and released again.
    pub released_twice_joint: String,
    pub cut_out_joint: String,
    /// Failed on the last day and not repaired.
    pub joints_in_repair: Vec<String>,
    pub drifting_crew: &'static str,
    pub wet_day: NaiveDate,
    /// Coated on the wet morning in spite of it.
    pub wet_morning_joints: Vec<String>,
    pub lapsed_person: &'static str,
    pub lapsed_person_joints: Vec<String>,
    pub expired_lot: &'static str,
    pub expired_lot_joint: String,
    pub expiring_lot: &'static str,
    pub quarantined_lot: &'static str,
    pub lapsed_detector: &'static str,
    pub lapsed_detector_joints: Vec<String>,
    /// Wrong entries that later ones took the place of.
    pub superseded_facts: Vec<EventId>,
    /// Sent on a later day than they happened.
    pub late_facts: Vec<EventId>,
}

impl Default for Story {
    fn default() -> Self {
        Self {
            first_day: calendar::date(0),
            last_day: calendar::date(LAST),
            last_fact_at: None,
            untested_joint: String::new(),
            damaged_joint: String::new(),
            released_twice_joint: String::new(),
            cut_out_joint: String::new(),
            joints_in_repair: Vec::new(),
            drifting_crew: testing::DRIFTING_CREW,
            wet_day: calendar::date(weather::WET_DAY),
            wet_morning_joints: Vec::new(),
            lapsed_person: users::LAPSED_PERSON.0,
            lapsed_person_joints: Vec::new(),
            expired_lot: lots::EXPIRED_LOT.0,
            expired_lot_joint: String::new(),
            expiring_lot: lots::EXPIRING_LOT.0,
            quarantined_lot: lots::QUARANTINED_LOT.0,
            lapsed_detector: setup::LAPSED_DETECTOR.0,
            lapsed_detector_joints: Vec::new(),
            superseded_facts: Vec::new(),
            late_facts: Vec::new(),
        }
    }
}
