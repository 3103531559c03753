//! What is asked.

use serde::Deserialize;
use utoipa::ToSchema;

use crate::{
    system_takeoff::{SystemLayer, SystemMastic, SystemPrimer},
    whole::whole,
};

/// Applied cost of alternative coating systems: judged first, then priced, every line visible.
///
/// Prices are numbers of one currency, which is never named.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({
    "outside_diameter_mm": 610.0, "joints": 100,
    "worker_hour_price": 25.0, "inspector_hour_price": 35.0,
    "section": { "design_temperature_c": 30.0, "backfill": "screened" },
    "burial": {
        "trench": {
            "bottom_width_mm": 1016.0, "side_slope": 0.0, "coated_diameter_mm": 616.0,
            "bed_mm": 150.0, "cover_mm": 150.0,
        },
        "joint_spacing_mm": 12_200.0, "bulking_percent": 15.0, "imported_price_per_m3": 18.0,
        "native_price_per_m3": 6.0, "armour_price_per_m2": 4.5,
    },
    "candidates": [{
        "code": "two-tapes",
        "primer": { "primed_length_mm": 500.0, "rate_m2_per_l": 8.0 }, "primer_price_per_l": 6.0,
        "layers": [
            { "wrapped_length_mm": 500.0, "roll_width_mm": 150.0, "roll_length_m": 15.0,
              "overlap_percent": 55.0, "waste_percent": 5.0 },
        ],
        "tape_prices_per_m2": [9.0],
        "properties": {
            "layers": [{ "backing": "polyethylene", "operating_max_c": 50.0, "needs_primer": true }],
        },
        "labour": [{ "activity": "wrapping", "hours": 0.5, "workers": 3.0 }],
        "inspection_hours": 0.2,
    }],
}))]
pub struct AppliedCostRequest {
    /// Outside diameter of the bare pipe, mm.
    #[schema(minimum = 1, maximum = 20_000)]
    pub outside_diameter_mm: f64,
    /// Joints in the section; times the wraps of all candidates together at most 20 000 000.
    #[serde(deserialize_with = "whole")]
    #[schema(minimum = 1, maximum = 100_000)]
    pub joints: u64,
    /// Price of an hour of one worker.
    #[schema(minimum = 0, maximum = 1_000_000_000)]
    pub worker_hour_price: f64,
    /// Price of an hour of the inspector.
    #[schema(minimum = 0, maximum = 1_000_000_000)]
    pub inspector_hour_price: f64,
    /// What the section asks of a system.
    pub section: SectionNeeds,
    /// Padding against armour, where that is to be compared too.
    #[serde(default)]
    #[schema(value_type = Burial, required = false)]
    pub burial: Option<Burial>,
    /// Whether systems that do not suit are priced as well.
    #[serde(default)]
    pub price_inadmissible: bool,
    /// The systems.
    #[schema(min_items = 1, max_items = 50)]
    pub candidates: Vec<Candidate>,
}

/// What a section asks of a coating system.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SectionNeeds {
    /// Highest temperature in operation, °C.
    #[schema(minimum = -100, maximum = 500)]
    pub design_temperature_c: f64,
    /// Lowest temperature in operation, °C, where it is known.
    #[schema(minimum = -100, maximum = 500)]
    pub lowest_temperature_c: Option<f64>,
    /// Kind of the plant coating, in your own words.
    #[schema(max_length = 200)]
    pub plant_coating: Option<String>,
    /// The grade to which the crews clean, such as `St 3` or `Sa 2½`.
    #[schema(max_length = 20)]
    pub surface_grade: Option<String>,
    /// What goes round the pipe.
    pub backfill: BackfillRound,
    /// Class of mechanical load, where the contract gives one.
    #[serde(default)]
    #[schema(value_type = MechanicalClass, required = false)]
    pub stress_class: Option<MechanicalClass>,
}

macro_rules! codes {
    ($(#[$doc:meta])* $name:ident of $calc:ident { $($(#[$each:meta])* $variant:ident),* $(,)? }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, Deserialize, ToSchema)]
        #[serde(rename_all = "snake_case")]
        pub enum $name {
            $($(#[$each])* $variant),*
        }

        impl From<$name> for calc::$calc {
            fn from(it: $name) -> Self {
                match it {
                    $($name::$variant => Self::$variant),*
                }
            }
        }
    };
}

codes! {
    /// What goes round the pipe.
    BackfillRound of BackfillKind {
        /// Imported sand.
        SandPadding,
        /// Native soil, screened.
        Screened,
        /// Native soil with stones.
        Rocky,
    }
}

codes! {
    /// Backing of a tape.
    TapeBacking of Backing {
        /// Polyethylene.
        Polyethylene,
        /// Polypropylene.
        Polypropylene,
        /// Polyvinyl chloride.
        PolyvinylChloride,
        /// Fabric, fleece or mesh, held by its own wrap or resin.
        Fabric,
    }
}

codes! {
    /// Class of mechanical load.
    MechanicalClass of StressClass {
        /// Low.
        A,
        /// Medium.
        B,
        /// High.
        C,
    }
}

/// How the pipe between two joints can be protected from stones.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Burial {
    /// The padded part of the trench.
    pub trench: Trench,
    /// Distance from joint to joint, mm.
    #[schema(minimum = 1, maximum = 1_000_000)]
    pub joint_spacing_mm: f64,
    /// Ordered on top of what is in place, %; 0 if absent. 10 to 25 % is common practice, no
    /// source.
    #[schema(minimum = 0, maximum = 1000)]
    pub bulking_percent: Option<f64>,
    /// Price of imported padding, per m³ ordered.
    #[schema(minimum = 0, maximum = 1_000_000_000)]
    pub imported_price_per_m3: f64,
    /// Price of native fill, screened on the spot, per m³.
    #[schema(minimum = 0, maximum = 1_000_000_000)]
    pub native_price_per_m3: f64,
    /// Price of armour, per m².
    #[schema(minimum = 0, maximum = 1_000_000_000)]
    pub armour_price_per_m2: f64,
    /// Thickness of the armour, mm; 0 if absent.
    #[schema(minimum = 0, maximum = 1000)]
    pub armour_thickness_mm: Option<f64>,
    /// Laps and waste of the armour, %; 0 if absent.
    #[schema(minimum = 0, maximum = 1000)]
    pub armour_lap_percent: Option<f64>,
}

/// The padded part of a trench.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Trench {
    /// Width of the bottom, mm; at least the coated diameter.
    #[schema(minimum = 1, maximum = 50_000)]
    pub bottom_width_mm: f64,
    /// Horizontal over vertical of each side; 0 for a vertical side.
    #[schema(minimum = 0, maximum = 10)]
    pub side_slope: f64,
    /// Outside diameter over the coating, mm.
    #[schema(minimum = 1, maximum = 50_000)]
    pub coated_diameter_mm: f64,
    /// Padding under the pipe, mm.
    #[schema(minimum = 0, maximum = 20_000)]
    pub bed_mm: f64,
    /// Padding over the pipe, mm.
    #[schema(minimum = 0, maximum = 20_000)]
    pub cover_mm: f64,
}

/// One system with its prices and hours per joint.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = CostCandidate)]
pub struct Candidate {
    /// Its code.
    #[schema(min_length = 1, max_length = 200)]
    pub code: String,
    /// Primer, where the system has one.
    #[serde(default)]
    #[schema(value_type = SystemPrimer, required = false)]
    pub primer: Option<SystemPrimer>,
    /// Profiling mastic, where the joint needs it.
    #[serde(default)]
    #[schema(value_type = SystemMastic, required = false)]
    pub mastic: Option<SystemMastic>,
    /// The wraps in order, first on the steel.
    #[schema(min_items = 1, max_items = 20)]
    pub layers: Vec<SystemLayer>,
    /// Price of a litre of primer; needed where the system has one.
    #[schema(minimum = 0, maximum = 1_000_000_000)]
    pub primer_price_per_l: Option<f64>,
    /// Price of a kilogram of mastic; needed where the system has mastic.
    #[schema(minimum = 0, maximum = 1_000_000_000)]
    pub mastic_price_per_kg: Option<f64>,
    /// Price of a square metre of tape of each wrap, in their order.
    #[schema(max_items = 20, value_type = Vec<Price>)]
    pub tape_prices_per_m2: Vec<f64>,
    /// What is known of it; what is not known makes it unverified.
    #[serde(default)]
    pub properties: Properties,
    /// Work on one joint.
    #[serde(default)]
    #[schema(max_items = 50)]
    pub labour: Vec<Labour>,
    /// Hours of the inspector on one joint; 0 if absent.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 10_000)]
    pub inspection_hours: f64,
    /// Consumables of one joint; 0 if absent.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 1_000_000_000)]
    pub consumables: f64,
    /// Repairs expected per joint, such as 0.04 for one in 25; 0 if absent.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 1_000_000)]
    pub repairs_per_joint: f64,
    /// Cost of one repair; 0 if absent.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 1_000_000_000)]
    pub repair_price: f64,
}

/// A price.
#[derive(ToSchema, Deserialize)]
#[schema(minimum = 0, maximum = 1_000_000_000)]
#[expect(dead_code, reason = "only its schema is used: a list cannot bound its numbers itself")]
pub(crate) struct Price(f64);

/// What is known of a system.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = CandidateProperties)]
pub struct Properties {
    /// The wraps in order, first on the steel, armour included.
    #[serde(default)]
    #[schema(max_items = 20)]
    pub layers: Vec<LayerProperties>,
    /// The grade that it needs, such as `St 3` or `Sa 2½`.
    #[schema(max_length = 20)]
    pub surface_grade: Option<String>,
    /// Kinds of plant coating that it may lap onto, in your own words.
    #[schema(max_items = 50)]
    pub plant_coatings: Option<Vec<String>>,
    /// Its class of mechanical load.
    #[serde(default)]
    #[schema(value_type = MechanicalClass, required = false)]
    pub stress_class: Option<MechanicalClass>,
}

/// What is known of one wrap.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LayerProperties {
    /// Its material.
    #[serde(default)]
    #[schema(max_length = 200)]
    pub material: String,
    /// Its backing.
    #[serde(default)]
    #[schema(value_type = TapeBacking, required = false)]
    pub backing: Option<TapeBacking>,
    /// Lowest operating temperature, °C.
    #[schema(minimum = -100, maximum = 500)]
    pub operating_min_c: Option<f64>,
    /// Highest operating temperature, °C.
    #[schema(minimum = -100, maximum = 500)]
    pub operating_max_c: Option<f64>,
    /// Whether it sticks to steel only over a primer; asked of the first wrap.
    pub needs_primer: Option<bool>,
    /// Whether it protects against stones.
    #[serde(default)]
    pub armour: bool,
}

/// One kind of work on a joint.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Labour {
    /// What, such as `preparation`.
    #[schema(max_length = 200)]
    pub activity: String,
    /// Hours.
    #[schema(minimum = 0, maximum = 10_000)]
    pub hours: f64,
    /// Workers at once.
    #[schema(minimum = 0, maximum = 10_000)]
    pub workers: f64,
}
