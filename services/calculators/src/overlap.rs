//! The overlap that was really wrapped.

use domain::schema::Validate;
use serde::{Deserialize, Serialize};
use units::{Length, Overlap, Percent};
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
    "neck_down_percent": 2.0,
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
    /// By how much the tape is narrower on the pipe than on the roll, % of its width, where that
    /// is to be looked at: it necks down under tension.
    #[schema(minimum = 0, maximum = 99)]
    pub neck_down_percent: Option<f64>,
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
    /// Over this neck-down stripes of a single layer appear, %; null where there is no double
    /// layer to lose.
    #[schema(required)]
    pub neck_down_that_loses_the_double_layer_percent: Option<f64>,
    /// What is left after the neck-down; null where none was given, and for a gap.
    #[schema(required)]
    pub after_neck_down: Option<NeckedOverlap>,
}

/// The overlap of the narrower tape on the same pitch.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct NeckedOverlap {
    /// Overlap, % of the narrower width; negative for a gap.
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
        let neck_down = self.neck_down_percent.map(Percent::from_percent).transpose();
        let neck_down = quantity("/neck_down_percent", neck_down)?;
        let measured = calc::measured_overlap(width, pitch, specified).map_err(of_input)?;
        // A gap is no overlap that could be lost.
        let set = Overlap::from_percent(measured.overlap_percent).ok();
        let after = set.zip(neck_down).map(|(set, neck_down)| {
            calc::overlap_after_neck_down(set, neck_down, specified).map_err(of_input)
        });
        Ok(OverlapAnswer {
            overlap_percent: measured.overlap_percent,
            layers_min: measured.layers_min,
            layers_mean: measured.layers_mean,
            meets_specified: measured.meets_specified,
            neck_down_that_loses_the_double_layer_percent: set
                .and_then(calc::neck_down_that_loses_the_double_layer),
            after_neck_down: after.transpose()?.map(|it| NeckedOverlap {
                overlap_percent: it.overlap_percent,
                layers_min: it.layers_min,
                layers_mean: it.layers_mean,
                meets_specified: it.meets_specified,
            }),
        })
    }
}
