//! The kinds of facts and their fields. Each one's JSON is a contract with our own past.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::lot_work::UsedQuantities;
use crate::{ids::EventId, schema::Validate};

/// The weather and the steel at the joint when the work was done.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Ambient {
    /// Air temperature, °C.
    #[schema(minimum = -60, maximum = 70)]
    pub air_c: f64,
    /// Relative humidity, %.
    #[schema(exclusive_minimum = 0, maximum = 100)]
    pub relative_humidity_percent: f64,
    /// Steel temperature on its shaded side, °C.
    #[schema(minimum = -60, maximum = 150)]
    pub steel_c: f64,
    /// When it was read; the time of the fact if absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub measured_at: Option<DateTime<Utc>>,
}

/// Passed or failed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum TestResult {
    /// Passed.
    Pass,
    /// Failed.
    Fail,
}

/// Which wrap of the system was put on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum WrapLayer {
    /// The corrosion tape.
    Inner,
    /// The mechanical tape.
    Outer,
    /// Rock mesh or moisture-cured glass wrap.
    Armour,
}

/// How a repair was closed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum RepairWrap {
    /// Wrapped over all round the pipe.
    FullCircumference,
    /// A piece laid on the spot: recorded, and a finding.
    Patch,
}

/// What a peel test was cut from.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum PeelSpecimen {
    /// The coating of the joint itself, which is cut by it.
    #[default]
    Joint,
    /// A coupon wrapped beside it.
    Coupon,
}

macro_rules! facts {
    ($($(#[$doc:meta])* $name:ident { $($(#[$field_doc:meta])* $field:ident : $type:ty),* $(,)? })*) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
        #[serde(deny_unknown_fields)]
        pub struct $name {
            $($(#[$field_doc])* pub $field: $type,)*
            /// Free text.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            #[schema(max_length = 2000)]
            pub note: Option<String>,
        }
        impl Validate for $name {}
    )*};
}

facts! {
    /// The girth weld was made.
    Welded {
        /// Person code of the welder.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        welder: Option<String>,
    }
    /// The weld was examined and accepted.
    WeldAccepted {
        /// Person code of who accepted it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        inspector: Option<String>,
        /// Number of the examination report.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        report: Option<String>,
    }
    /// The weld was examined and rejected.
    WeldRejected {
        /// Person code of who rejected it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        inspector: Option<String>,
        /// Number of the examination report.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        report: Option<String>,
        /// The defect.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        cause: Option<String>,
    }
    /// The weld was repaired; it needs a new acceptance, and what coating it had is gone.
    WeldRepaired {
        /// Person code of the welder.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        welder: Option<String>,
    }
    /// The weld was cut out. The joint ends here; the new weld has a number of its own.
    CutOut {
        /// Why.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        cause: Option<String>,
    }
    /// The steel was cleaned to a grade; what was on it is gone.
    SurfacePrepared {
        /// Grade reached, such as `St 3` or `Sa 2 1/2` (ISO 8501-1).
        #[schema(min_length = 1, max_length = 20)]
        grade: String,
        /// Crew code.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        crew: Option<String>,
        /// Person code.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        applicator: Option<String>,
        /// Conditions at the joint.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        ambient: Option<Ambient>,
    }
    /// Primer was put on.
    Primed {
        /// Lot codes used.
        #[serde(default)]
        lots: Vec<String>,
        /// How much of each lot, in base units; some or all of `lots`. Taken from the plan if absent.
        #[serde(default, skip_serializing_if = "UsedQuantities::is_empty")]
        quantities: UsedQuantities,
        /// Crew code.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        crew: Option<String>,
        /// Person code.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        applicator: Option<String>,
        /// Conditions at the joint.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        ambient: Option<Ambient>,
    }
    /// Profiling mastic was put on steps and weld toes.
    Profiled {
        /// Lot codes used.
        #[serde(default)]
        lots: Vec<String>,
        /// How much of each lot, in base units; some or all of `lots`. Taken from the plan if absent.
        #[serde(default, skip_serializing_if = "UsedQuantities::is_empty")]
        quantities: UsedQuantities,
        /// Crew code.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        crew: Option<String>,
        /// Person code.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        applicator: Option<String>,
        /// Conditions at the joint.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        ambient: Option<Ambient>,
    }
    /// One wrap of the system was put on.
    Wrapped {
        /// Which.
        layer: WrapLayer,
        /// Lot codes used.
        #[serde(default)]
        lots: Vec<String>,
        /// How much of each lot, in base units; some or all of `lots`. Taken from the plan if absent.
        #[serde(default, skip_serializing_if = "UsedQuantities::is_empty")]
        quantities: UsedQuantities,
        /// Overlap measured, % of the tape's width.
        #[schema(minimum = -100, exclusive_maximum = 100)]
        #[serde(default, skip_serializing_if = "Option::is_none")]
        overlap_percent: Option<f64>,
        /// Crew code.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        crew: Option<String>,
        /// Person code.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        applicator: Option<String>,
        /// Conditions at the joint.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        ambient: Option<Ambient>,
    }
    /// The coating was spark-tested over its whole surface.
    HolidayTested {
        /// Passed or failed.
        result: TestResult,
        /// Voltage set on the detector, kV.
        #[schema(exclusive_minimum = 0, maximum = 60)]
        voltage_kv: f64,
        /// Detector code.
        #[schema(min_length = 1, max_length = 60)]
        detector: String,
        /// Holidays found.
        #[schema(minimum = 0, maximum = 10000)]
        #[serde(default, skip_serializing_if = "Option::is_none")]
        holidays_found: Option<u32>,
        /// Travel of the electrode, mm/s.
        #[schema(exclusive_minimum = 0, maximum = 5000)]
        #[serde(default, skip_serializing_if = "Option::is_none")]
        travel_speed_mm_s: Option<f64>,
        /// Person code of who tested.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        inspector: Option<String>,
        /// Conditions at the joint.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        ambient: Option<Ambient>,
    }
    /// The pipe with this joint was lowered into the trench.
    Lowered {}
    /// The joint was covered.
    Backfilled {}
    /// Somebody looked at it.
    VisuallyInspected {
        /// Passed or failed.
        result: TestResult,
        /// Person code.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        inspector: Option<String>,
    }
    /// The thickness of the coating was measured.
    ThicknessMeasured {
        /// Least thickness found, mm.
        #[schema(minimum = 0, maximum = 100)]
        thickness_mm: f64,
        /// Person code.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        inspector: Option<String>,
    }
    /// A strip was peeled. On the joint itself this cuts the coating.
    PeelTested {
        /// Passed or failed, by the look of the peeled surface as well as the force.
        result: TestResult,
        /// Peel force, N/mm of width.
        #[schema(minimum = 0, maximum = 1000)]
        #[serde(default, skip_serializing_if = "Option::is_none")]
        force_n_per_mm: Option<f64>,
        /// What was cut.
        #[serde(default)]
        specimen: PeelSpecimen,
        /// Person code.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        inspector: Option<String>,
    }
    /// Damage of the coating was found.
    DamageFound {
        /// What was seen.
        #[schema(max_length = 2000)]
        #[serde(default, skip_serializing_if = "Option::is_none")]
        description: Option<String>,
        /// Place on the circumference, hours of the clock looking along rising KP.
        #[schema(minimum = 0, maximum = 12)]
        #[serde(default, skip_serializing_if = "Option::is_none")]
        clock_position_h: Option<f64>,
    }
    /// A damage or a holiday was repaired.
    Repaired {
        /// The damage or failed test that was repaired; all that are open if absent.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        repairs: Option<EventId>,
        /// The damaged coating was cut away.
        damaged_area_removed: bool,
        /// The steel under it was cleaned.
        cleaned: bool,
        /// The steel was primed again.
        primed: bool,
        /// How it was wrapped over.
        wrap: RepairWrap,
        /// Lot codes used.
        #[serde(default)]
        lots: Vec<String>,
        /// How much of each lot, in base units; some or all of `lots`. Taken from the plan if absent.
        #[serde(default, skip_serializing_if = "UsedQuantities::is_empty")]
        quantities: UsedQuantities,
        /// Crew code.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        crew: Option<String>,
        /// Person code.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        applicator: Option<String>,
        /// Conditions at the joint.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        ambient: Option<Ambient>,
    }
    /// A buried joint was dug up.
    Excavated {
        /// Why.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        cause: Option<String>,
    }
    /// An entry is withdrawn and nothing takes its place: `supersedes` names it, `reason` says why.
    Superseded {}
}

/// A fact of one of the known kinds, told apart by `kind`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Event {
    /// See [`Welded`].
    Welded(Welded),
    /// See [`WeldAccepted`].
    WeldAccepted(WeldAccepted),
    /// See [`WeldRejected`].
    WeldRejected(WeldRejected),
    /// See [`WeldRepaired`].
    WeldRepaired(WeldRepaired),
    /// See [`CutOut`].
    CutOut(CutOut),
    /// See [`SurfacePrepared`].
    SurfacePrepared(SurfacePrepared),
    /// See [`Primed`].
    Primed(Primed),
    /// See [`Profiled`].
    Profiled(Profiled),
    /// See [`Wrapped`].
    Wrapped(Wrapped),
    /// See [`HolidayTested`].
    HolidayTested(HolidayTested),
    /// See [`Lowered`].
    Lowered(Lowered),
    /// See [`Backfilled`].
    Backfilled(Backfilled),
    /// See [`VisuallyInspected`].
    VisuallyInspected(VisuallyInspected),
    /// See [`ThicknessMeasured`].
    ThicknessMeasured(ThicknessMeasured),
    /// See [`PeelTested`].
    PeelTested(PeelTested),
    /// See [`DamageFound`].
    DamageFound(DamageFound),
    /// See [`Repaired`].
    Repaired(Repaired),
    /// See [`Excavated`].
    Excavated(Excavated),
    /// See [`Superseded`].
    Superseded(Superseded),
}

impl HolidayTested {
    /// A pass with holidays counted is no pass: the holidays are what was found.
    pub fn passed(&self) -> bool {
        self.result == TestResult::Pass && self.holidays_found.unwrap_or(0) == 0
    }

    /// A failed test leaves holes to repair, unless it says that it found none.
    pub fn leaves_holidays(&self) -> bool {
        !self.passed() && self.holidays_found != Some(0)
    }
}

impl Event {
    /// The kinds, in the order a joint has them.
    pub const KINDS: [&'static str; 19] = [
        "welded",
        "weld_accepted",
        "weld_rejected",
        "weld_repaired",
        "cut_out",
        "surface_prepared",
        "primed",
        "profiled",
        "wrapped",
        "holiday_tested",
        "lowered",
        "backfilled",
        "visually_inspected",
        "thickness_measured",
        "peel_tested",
        "damage_found",
        "repaired",
        "excavated",
        "superseded",
    ];

    /// The kind's name in JSON and SQL.
    pub const fn kind(&self) -> &'static str {
        match self {
            Self::Welded(_) => "welded",
            Self::WeldAccepted(_) => "weld_accepted",
            Self::WeldRejected(_) => "weld_rejected",
            Self::WeldRepaired(_) => "weld_repaired",
            Self::CutOut(_) => "cut_out",
            Self::SurfacePrepared(_) => "surface_prepared",
            Self::Primed(_) => "primed",
            Self::Profiled(_) => "profiled",
            Self::Wrapped(_) => "wrapped",
            Self::HolidayTested(_) => "holiday_tested",
            Self::Lowered(_) => "lowered",
            Self::Backfilled(_) => "backfilled",
            Self::VisuallyInspected(_) => "visually_inspected",
            Self::ThicknessMeasured(_) => "thickness_measured",
            Self::PeelTested(_) => "peel_tested",
            Self::DamageFound(_) => "damage_found",
            Self::Repaired(_) => "repaired",
            Self::Excavated(_) => "excavated",
            Self::Superseded(_) => "superseded",
        }
    }

    /// The conditions that were read at the joint, of the kinds that the weather is held against.
    pub const fn ambient(&self) -> Option<Option<&Ambient>> {
        match self {
            Self::SurfacePrepared(it) => Some(it.ambient.as_ref()),
            Self::Primed(it) => Some(it.ambient.as_ref()),
            Self::Profiled(it) => Some(it.ambient.as_ref()),
            Self::Wrapped(it) => Some(it.ambient.as_ref()),
            Self::Repaired(it) => Some(it.ambient.as_ref()),
            Self::HolidayTested(it) => Some(it.ambient.as_ref()),
            _ => None,
        }
    }

    /// Whether readings of the spread may have to speak for this fact: nothing was read at the
    /// joint, or not at the time of the fact.
    pub fn asks_for_readings(&self) -> bool {
        self.ambient().is_some_and(|own| own.is_none_or(|own| own.measured_at.is_some()))
    }

    /// Whether this fact coats or disturbs the joint, so that every earlier holiday test is stale.
    pub fn disturbs(&self) -> bool {
        match self {
            Self::WeldRepaired(_)
            | Self::CutOut(_)
            | Self::SurfacePrepared(_)
            | Self::Primed(_)
            | Self::Profiled(_)
            | Self::Wrapped(_)
            | Self::DamageFound(_)
            | Self::Repaired(_)
            | Self::Excavated(_) => true,
            Self::HolidayTested(test) => !test.passed(),
            Self::PeelTested(peel) => peel.specimen == PeelSpecimen::Joint,
            _ => false,
        }
    }
}
