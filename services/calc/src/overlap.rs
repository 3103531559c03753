//! Overlap from a measured pitch, and what stretching the tape does to it.

use units::{Length, Overlap, Percent};

use crate::{
    count::TOLERANCE,
    input::{Bounds, Faults, InputError},
    wrap::Layers,
};

/// The overlap that was really wrapped. Unrounded.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeasuredOverlap {
    /// 100 (1 − pitch / width); negative for a gap.
    pub overlap_percent: f64,
    /// Fewest layers anywhere between the ends, floor(width / pitch), where a quotient within
    /// 1e-9 of a whole number is that number; 0 for a gap.
    pub layers_min: u64,
    /// Mean number of layers, width / pitch.
    pub layers_mean: f64,
    /// Whether it is at least the specified overlap (exactly on it passes); none if none is given.
    pub meets_specified: Option<bool>,
}

/// The admitted ranges by the names of the fields.
pub const OVERLAP_BOUNDS: [(&str, Bounds); 2] =
    [("roll_width_mm", Bounds::new(1.0, 1e7, "mm")), ("pitch_mm", Bounds::new(0.001, 1e7, "mm"))];

/// The overlap from the advance of one turn. A pitch over the width is a gap, which is an answer
/// and no fault: it has been measured.
///
/// o = 1 − p / w: geometry, derived by hand.
pub fn measured_overlap(
    roll_width: Length,
    pitch: Length,
    specified: Option<Overlap>,
) -> Result<MeasuredOverlap, InputError> {
    let (width, pitch) = (roll_width.as_millimetres(), pitch.as_millimetres());
    let mut faults = Faults::default();
    for ((field, bounds), value) in OVERLAP_BOUNDS.into_iter().zip([width, pitch]) {
        faults.range(field, value, bounds);
    }
    faults.check()?;
    answer(width / pitch, 100.0 * (1.0 - pitch / width), specified)
}

fn answer(
    layers_mean: f64,
    overlap_percent: f64,
    specified: Option<Overlap>,
) -> Result<MeasuredOverlap, InputError> {
    let layers = Layers::of(layers_mean, "pitch_mm")?;
    let meets = |it: Overlap| overlap_percent >= it.as_percent() - 100.0 * TOLERANCE;
    Ok(MeasuredOverlap {
        overlap_percent,
        layers_min: layers.min,
        layers_mean,
        meets_specified: specified.map(meets),
    })
}

/// The width of a strip that has been stretched by `stretch`: w / √(1 + e).
///
/// An incompressible strip that shrinks alike in width and thickness; mechanics, from memory,
/// unverified.
pub fn width_after_stretch(width: Length, stretch: Percent) -> Length {
    let narrower = width.as_millimetres() / (1.0 + stretch.as_fraction()).sqrt();
    // Never wider than before, so always a length.
    Length::from_millimetres(narrower).unwrap_or(width)
}

/// The overlap of a tape that has necked down by `neck_down` of its width (0 to 99 %), while the
/// pitch is set by eye for the overlap `set` on the width of the roll: w' = w (1 − k),
/// o' = 1 − p / w'. Geometry, derived by hand.
pub fn overlap_after_neck_down(
    set: Overlap,
    neck_down: Percent,
    specified: Option<Overlap>,
) -> Result<MeasuredOverlap, InputError> {
    let mut faults = Faults::default();
    faults.range("neck_down_percent", neck_down.as_percent(), Bounds::new(0.0, 99.0, "%"));
    faults.check()?;
    let pitch_in_applied_widths = set.advance_fraction() / (1.0 - neck_down.as_fraction());
    let overlap_percent = 100.0 * (1.0 - pitch_in_applied_widths);
    answer(1.0 / pitch_in_applied_widths, overlap_percent, specified)
}

/// The neck-down over which single-layer stripes appear, k = 2o − 1, in %; none where the set
/// overlap gives no double layer to lose (under 50 %). Exactly at it there are two layers
/// without reserve.
pub fn neck_down_that_loses_the_double_layer(set: Overlap) -> Option<f64> {
    let percent = 2.0 * set.as_percent() - 100.0;
    (percent >= 0.0).then_some(percent)
}
