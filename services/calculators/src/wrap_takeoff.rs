//! Tape for one joint.

use calc::Wrap;
use domain::schema::Validate;
use serde::{Deserialize, Serialize};
use units::{Length, Overlap, Percent};
use utoipa::ToSchema;

use crate::{
    Calculation,
    faults::{Faults, of_input, quantity},
};

/// Tape for one joint, wrapped as a spiral with straight turns at the ends.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({
    "outside_diameter_mm": 508.0, "wrapped_length_mm": 500.0, "roll_width_mm": 100.0,
    "roll_length_m": 30.0, "overlap_percent": 55.0, "tape_thickness_mm": 0.8,
}))]
pub struct WrapTakeoffRequest {
    /// Outside diameter of the bare pipe, mm.
    #[schema(minimum = 1, maximum = 20_000)]
    pub outside_diameter_mm: f64,
    /// Both cutbacks and the laps onto the plant coating, mm; at least the width of the roll.
    #[schema(minimum = 1, maximum = 10_000_000)]
    pub wrapped_length_mm: f64,
    /// Width of the tape, mm.
    #[schema(minimum = 1, maximum = 10_000_000)]
    pub roll_width_mm: f64,
    /// Length of a roll, m.
    #[schema(minimum = 0.01, maximum = 10_000)]
    pub roll_length_m: f64,
    /// Overlap, % of the width.
    #[schema(minimum = 0, exclusive_maximum = 100)]
    pub overlap_percent: f64,
    /// Thickness of the tape, mm; 0 if absent.
    #[schema(minimum = 0, maximum = 1000)]
    pub tape_thickness_mm: Option<f64>,
    /// Radial thickness already on the steel, mm; 0 if absent.
    #[schema(minimum = 0, maximum = 1000)]
    pub build_below_mm: Option<f64>,
    /// Full turns without advance, both ends together; 2 if absent.
    #[schema(minimum = 0, maximum = 1000)]
    pub straight_turns: Option<f64>,
    /// Lap where a new roll is joined on, mm; 0 if absent; shorter than the roll.
    #[schema(minimum = 0, maximum = 10_000_000)]
    pub splice_lap_mm: Option<f64>,
    /// Waste on top, %; 0 if absent.
    #[schema(minimum = 0, maximum = 1000)]
    pub waste_percent: Option<f64>,
}

/// What the joint takes; the factor of an overlap o is 1 / (1 − o), never 1 + o.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct WrapTakeoffAnswer {
    /// Axial advance of a turn, mm.
    pub pitch_mm: f64,
    /// Mean number of layers.
    pub layers_mean: f64,
    /// Fewest layers anywhere between the ends.
    pub layers_min: u64,
    /// Share of the surface with one layer more, %.
    pub share_one_more_percent: f64,
    /// Diameter at the middle of the tape's own build, mm.
    pub wrap_diameter_mm: f64,
    /// Turns that advance.
    pub helical_turns: f64,
    /// Tape in one advancing turn, mm.
    pub helix_turn_mm: f64,
    /// Tape without waste, m.
    pub tape_m: f64,
    /// Tape with waste, m.
    pub tape_with_waste_m: f64,
    /// Area of the tape over the area that is wrapped.
    pub area_ratio: f64,
    /// Whole joints from one roll, the rest scrapped; 0 where a joint takes more than a roll.
    pub joints_per_roll: u64,
    /// Rolls opened for one joint where remnants are scrapped.
    pub rolls_per_joint_whole: u64,
    /// Long-run average of rolls for a joint where every remnant is joined on.
    pub rolls_per_joint_spliced: f64,
    /// What is left of the opened rolls, m.
    pub remnant_m: f64,
}

impl From<calc::WrapTakeoff> for WrapTakeoffAnswer {
    fn from(it: calc::WrapTakeoff) -> Self {
        Self {
            pitch_mm: it.pitch_mm,
            layers_mean: it.layers_mean,
            layers_min: it.layers_min,
            share_one_more_percent: it.share_one_more_percent,
            wrap_diameter_mm: it.wrap_diameter_mm,
            helical_turns: it.helical_turns,
            helix_turn_mm: it.helix_turn_mm,
            tape_m: it.tape_m,
            tape_with_waste_m: it.tape_with_waste_m,
            area_ratio: it.area_ratio,
            joints_per_roll: it.joints_per_roll,
            rolls_per_joint_whole: it.rolls_per_joint_whole,
            rolls_per_joint_spliced: it.rolls_per_joint_spliced,
            remnant_m: it.remnant_m,
        }
    }
}

impl Validate for WrapTakeoffRequest {}

impl Calculation for WrapTakeoffRequest {
    const NAME: &'static str = "wrap-takeoff";
    type Answer = WrapTakeoffAnswer;

    fn answer(&self) -> Result<WrapTakeoffAnswer, Faults> {
        let length = |pointer: &str, mm: f64| quantity(pointer, Length::from_millimetres(mm));
        let or_none = |pointer: &str, mm: Option<f64>| length(pointer, mm.unwrap_or(0.0));
        let waste = Percent::from_percent(self.waste_percent.unwrap_or(0.0));
        let wrap = Wrap {
            outside_diameter: length("/outside_diameter_mm", self.outside_diameter_mm)?,
            wrapped_length: length("/wrapped_length_mm", self.wrapped_length_mm)?,
            roll_width: length("/roll_width_mm", self.roll_width_mm)?,
            roll_length: quantity("/roll_length_m", Length::from_metres(self.roll_length_m))?,
            overlap: quantity("/overlap_percent", Overlap::from_percent(self.overlap_percent))?,
            tape_thickness: or_none("/tape_thickness_mm", self.tape_thickness_mm)?,
            build_below: or_none("/build_below_mm", self.build_below_mm)?,
            straight_turns: self.straight_turns.unwrap_or(2.0),
            splice_lap: or_none("/splice_lap_mm", self.splice_lap_mm)?,
            waste: quantity("/waste_percent", waste)?,
        };
        calc::wrap_takeoff(&wrap).map(WrapTakeoffAnswer::from).map_err(of_input)
    }
}
