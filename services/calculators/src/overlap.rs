//! The overlap that was really wrapped.

use domain::schema::Validate;
use serde::{Deserialize, Serialize};
use units::{Length, Overlap};
use utoipa::ToSchema;

use crate::{
    Calculation,
    faults::{Faults, of_input, quantity},
};

/// Overlap from the advance of a turn as measured; a gap is an answer, not a fault.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({
    "roll_width_mm": 100.0, "pitch_mm": 45.0, "specified_overlap_percent": 55.0,
}))]
pub struct OverlapRequest {
    /// Width of the tape, mm.
    #[schema(minimum = 1, maximum = 10_000_000)]
    pub roll_width_mm: f64,
    /// Measured advance of a turn, mm.
    #[schema(minimum = 0.001, maximum = 10_000_000)]
    pub pitch_mm: f64,
    /// Overlap that the procedure asks for, %.
    #[schema(minimum = 0, exclusive_maximum = 100)]
    pub specified_overlap_percent: Option<f64>,
}

/// The overlap.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct OverlapAnswer {
    /// Overlap, % of the width; negative for a gap.
    pub overlap_percent: f64,
    /// Fewest layers anywhere between the ends; 0 for a gap.
    pub layers_min: u64,
    /// Mean number of layers.
    pub layers_mean: f64,
    /// Whether it is at least the specified overlap; null where none was given.
    #[schema(required)]
    pub meets_specified: Option<bool>,
}

impl Validate for OverlapRequest {}

impl Calculation for OverlapRequest {
    const NAME: &'static str = "overlap";
    type Answer = OverlapAnswer;

    fn answer(&self) -> Result<OverlapAnswer, Faults> {
        let width = quantity("/roll_width_mm", Length::from_millimetres(self.roll_width_mm))?;
        let pitch = quantity("/pitch_mm", Length::from_millimetres(self.pitch_mm))?;
        let specified = self.specified_overlap_percent.map(Overlap::from_percent).transpose();
        let specified = quantity("/specified_overlap_percent", specified)?;
        let measured = calc::measured_overlap(width, pitch, specified).map_err(of_input)?;
        Ok(OverlapAnswer {
            overlap_percent: measured.overlap_percent,
            layers_min: measured.layers_min,
            layers_mean: measured.layers_mean,
            meets_specified: measured.meets_specified,
        })
    }
}
