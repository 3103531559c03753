//! The band of a joint that is wrapped.

use units::Length;

use crate::input::{Bounds, FaultKind, Faults, InputError};

/// What a band is made of.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    /// Bare length at each pipe end. 120 mm +20/−0 on one gas line (second-hand), 150 mm is
    /// usual (common practice, no source).
    pub cutback: Length,
    /// Gap at the root of the weld.
    pub root_gap: Length,
    /// Lap onto the plant coating at each side.
    pub lap: Length,
}

/// The wrapped length: both cutbacks, the root gap and both laps. From 1 mm to 10 m.
pub fn wrapped_length(band: &Band) -> Result<Length, InputError> {
    const BAND: Bounds = Bounds::new(1.0, 10_000.0, "mm");
    let ends = 2.0 * (band.cutback.as_millimetres() + band.lap.as_millimetres());
    let value = ends + band.root_gap.as_millimetres();
    let mut faults = Faults::default();
    faults.range("wrapped_length_mm", value, BAND);
    let length = Length::from_millimetres(value);
    faults.check()?;
    length.map_err(|_| {
        InputError::one("wrapped_length_mm", FaultKind::OutOfRange { value, bounds: BAND })
    })
}

/// The least lap onto the plant coating: the specified one, and at least one pitch where there
/// are to be two layers on all steel.
///
/// With straight turns the double layer begins one pitch from the outer edge (derived by hand).
/// Published least laps spread: 50, 75, 80, 100 mm, or one width of the tape; so the specified
/// lap is the plan's.
pub fn least_lap(specified: Length, pitch_for_double_layer: Option<Length>) -> Length {
    match pitch_for_double_layer {
        Some(pitch) if pitch > specified => pitch,
        _ => specified,
    }
}
