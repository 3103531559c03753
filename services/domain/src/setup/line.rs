//! The line: sections, line pipe, spreads and crews.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::item::{Item, Kind, Reference};
use crate::schema::{FieldError, Validate};

/// What the trench is filled with round the pipe.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Backfill {
    /// Imported sand round the pipe.
    SandPadding,
    /// Native soil, screened.
    Screened,
    /// Native soil with stones.
    Rocky,
}

/// A stretch of the line with one line pipe and one default coating system.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Section {
    /// Code, such as `S1`.
    #[schema(min_length = 1, max_length = 40)]
    pub code: String,
    /// Name for people.
    #[schema(min_length = 1, max_length = 200)]
    pub name: String,
    /// First kilometre point, km.
    #[schema(minimum = 0, maximum = 20000)]
    pub kp_from_km: f64,
    /// Last kilometre point, km.
    #[schema(minimum = 0, maximum = 20000)]
    pub kp_to_km: f64,
    /// Code of the line pipe.
    pub line_pipe: String,
    /// Code of the default coating system.
    pub coating_system: String,
    /// Code of the spread that works here.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub spread: Option<String>,
    /// Code of the inspection plan.
    pub inspection_plan: String,
    /// What goes round the pipe.
    pub backfill: Backfill,
    /// Design temperature, °C.
    #[schema(minimum = -60, maximum = 150)]
    pub design_temperature_c: f64,
}

impl Validate for Section {
    fn faults(&self) -> Vec<FieldError> {
        if self.kp_from_km < self.kp_to_km {
            return Vec::new();
        }
        let detail = format!("must be more than kp_from_km, which is {}", self.kp_from_km);
        vec![FieldError::new("/kp_to_km", "OUT_OF_RANGE", detail)]
    }
}

impl Item for Section {
    const KIND: Kind = Kind::Section;

    fn code(&self) -> &str {
        &self.code
    }

    fn references(&self) -> Vec<Reference> {
        let mut named = vec![
            Reference::new("/line_pipe", Kind::LinePipe, &self.line_pipe),
            Reference::new("/coating_system", Kind::CoatingSystem, &self.coating_system),
            Reference::new("/inspection_plan", Kind::InspectionPlan, &self.inspection_plan),
        ];
        named.extend(self.spread.iter().map(|code| Reference::new("/spread", Kind::Spread, code)));
        named
    }
}

/// Pipe as it comes from the coating plant.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LinePipe {
    /// Code, such as `DN500-9.5`.
    #[schema(min_length = 1, max_length = 40)]
    pub code: String,
    /// Outside diameter, mm.
    #[schema(minimum = 10, maximum = 3000)]
    pub outside_diameter_mm: f64,
    /// Wall, mm.
    #[schema(exclusive_minimum = 0, maximum = 200)]
    pub wall_mm: f64,
    /// Kind of the plant coating, such as `three-layer polyethylene`.
    #[schema(max_length = 100)]
    pub plant_coating: String,
    /// Thickness of the plant coating, mm.
    #[schema(minimum = 0, maximum = 50)]
    pub plant_coating_thickness_mm: f64,
    /// Bare length at each end, mm.
    #[schema(minimum = 0, maximum = 1000)]
    pub cutback_mm: f64,
}

impl Validate for LinePipe {
    fn faults(&self) -> Vec<FieldError> {
        if self.wall_mm * 2.0 < self.outside_diameter_mm {
            return Vec::new();
        }
        vec![FieldError::new(
            "/wall_mm",
            "OUT_OF_RANGE",
            "must be less than half the outside diameter",
        )]
    }
}

impl Item for LinePipe {
    const KIND: Kind = Kind::LinePipe;

    fn code(&self) -> &str {
        &self.code
    }
}

/// A construction train working along the line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Spread {
    /// Code, such as `A`.
    #[schema(min_length = 1, max_length = 40)]
    pub code: String,
    /// Name for people.
    #[schema(min_length = 1, max_length = 200)]
    pub name: String,
}

impl Validate for Spread {}

impl Item for Spread {
    const KIND: Kind = Kind::Spread;

    fn code(&self) -> &str {
        &self.code
    }
}

/// A crew of a spread.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Crew {
    /// Code, such as `A1`.
    #[schema(min_length = 1, max_length = 40)]
    pub code: String,
    /// Name for people.
    #[schema(min_length = 1, max_length = 200)]
    pub name: String,
    /// Code of its spread.
    pub spread: String,
}

impl Validate for Crew {}

impl Item for Crew {
    const KIND: Kind = Kind::Crew;

    fn code(&self) -> &str {
        &self.code
    }

    fn references(&self) -> Vec<Reference> {
        vec![Reference::new("/spread", Kind::Spread, &self.spread)]
    }
}
