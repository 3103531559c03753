//! What a joint is made of, as its facts tell it.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use crate::{
    ids::{EventId, UserId},
    joints::event::{Ambient, RepairWrap, TestResult},
};

/// Which fact, and when it happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Mark {
    /// The fact.
    pub event: EventId,
    /// When it happened in the field.
    pub at: DateTime<Utc>,
}

/// The weld under the coating.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "is")]
pub enum Weld {
    /// Made, or repaired, and not yet accepted.
    #[default]
    AwaitsAcceptance,
    /// Accepted.
    Accepted(Mark),
    /// Rejected.
    Rejected(Mark),
    /// Cut out: the end of this joint.
    CutOut(Mark),
}

/// A layer of the coating as a fact names it.
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    Hash,
    Serialize,
    Deserialize,
    utoipa::ToSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum LayerRole {
    /// Primer on steel and plant coating.
    Primer,
    /// Profiling mastic on steps and weld toes.
    ProfilingMastic,
    /// Corrosion tape.
    InnerWrap,
    /// Mechanical tape.
    OuterWrap,
    /// Rock mesh or glass wrap.
    Armour,
}

impl LayerRole {
    /// The words for people.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Primer => "primer",
            Self::ProfilingMastic => "profiling mastic",
            Self::InnerWrap => "inner wrap",
            Self::OuterWrap => "outer wrap",
            Self::Armour => "armour",
        }
    }
}

/// A layer that was put on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Applied {
    /// Which layer.
    pub role: LayerRole,
    /// The fact.
    pub mark: Mark,
    /// Lots used.
    pub lots: Vec<String>,
    /// Overlap measured, %.
    pub overlap_percent: Option<f64>,
}

/// The coating since the steel was last bare.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Coat {
    /// Preparation of the steel and its grade.
    pub prepared: Option<(Mark, String)>,
    /// Layers in the order they were put on.
    pub layers: Vec<Applied>,
    /// Repairs of this coating.
    pub repairs: Vec<Repair>,
    /// Who worked on it, with what lots, in what conditions.
    pub works: Vec<Work>,
    /// Thicknesses measured since the last layer, mm.
    pub thicknesses: Vec<(Mark, f64)>,
    /// Peel tests.
    pub peels: Vec<Peel>,
    /// Failed looks since the last layer or repair.
    pub failed_looks: Vec<Mark>,
}

/// A repair.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Repair {
    /// The fact.
    pub mark: Mark,
    /// How it was wrapped.
    pub wrap: RepairWrap,
    /// Whether the damaged coating was cut away.
    pub removed: bool,
    /// Whether the steel was cleaned.
    pub cleaned: bool,
    /// Whether the steel was primed.
    pub primed: bool,
}

/// A piece of work on the coating, judged by people, materials and conditions.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Work {
    /// The fact.
    pub mark: Mark,
    /// What it was, for people.
    pub what: String,
    /// Person code, if given.
    pub applicator: Option<String>,
    /// Who recorded it: the applicator if none is named.
    pub recorded_by: UserId,
    /// Crew code.
    pub crew: Option<String>,
    /// Lots used.
    pub lots: Vec<String>,
    /// The layer it made; none for a preparation or a repair.
    pub layer: Option<LayerRole>,
    /// Conditions.
    pub ambient: Option<Ambient>,
}

/// A peel test.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Peel {
    /// The fact.
    pub mark: Mark,
    /// Passed by those who looked.
    pub passed: bool,
    /// N/mm.
    pub force_n_per_mm: Option<f64>,
}

/// A holiday test.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Test {
    /// The fact.
    pub mark: Mark,
    /// Passed, with no holiday counted.
    pub passed: bool,
    /// What whoever tested said.
    pub stated: TestResult,
    /// Set voltage, kV.
    pub voltage_kv: f64,
    /// Detector code.
    pub detector: String,
    /// Person code.
    pub inspector: Option<String>,
    /// mm/s.
    pub travel_speed_mm_s: Option<f64>,
    /// Holidays counted.
    pub holidays_found: Option<u32>,
    /// Conditions.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ambient: Option<Ambient>,
    /// Something coated or disturbed the joint after it.
    pub stale_since: Option<Mark>,
}

/// A hole that waits for its repair.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Damage {
    /// The damage found, the failed test or the cut strip.
    pub mark: Mark,
    /// What opened it.
    pub from: DamageFrom,
}

/// What opened a damage.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DamageFrom {
    /// Found by somebody.
    Found,
    /// Holidays of a failed test.
    Holidays,
    /// The strip of a peel test.
    PeelStrip,
}

/// Where the pipe lies.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "is")]
pub enum Ground {
    /// Beside or over the trench.
    #[default]
    Above,
    /// In the open trench.
    Lowered(Mark),
    /// Covered.
    Buried(Mark),
    /// Dug up again.
    Excavated(Mark),
}
