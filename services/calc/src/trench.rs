//! Padding round the pipe in its trench.

use std::f64::consts::PI;

use units::Length;

use crate::input::{Bounds, FaultKind, Faults, InputError};

/// The padded part of a trench, in cross-section.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trench {
    /// Width of the bottom, B; at least the coated diameter. Coated diameter and 400 mm (600 mm
    /// on large pipe) is common practice, no source.
    pub bottom_width: Length,
    /// Horizontal over vertical of each side, z; 0 for a vertical side.
    pub side_slope: f64,
    /// Outside diameter over the coating, Dc.
    pub coated_diameter: Length,
    /// Padding under the pipe. 100 to 150 mm is common practice, no source.
    pub bed: Length,
    /// Padding over the pipe. 150 to 300 mm is common practice, no source.
    pub cover: Length,
}

/// What a trench holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Padding {
    /// Height of the padded part, H = Dc + bed + cover, m.
    pub height_m: f64,
    /// In place, without the pipe, m³ per metre of trench.
    pub in_place_m3_per_m: f64,
}

/// Padding in place: V = (B + z H) H − π Dc² / 4 per metre. Geometry, derived by hand.
///
/// Trenches collapse: the slope that is safe to work in is set by local codes and a competent
/// person, not by this calculation:
/// [`crate::TRENCH_CAUTIONS`].
pub fn padding(trench: &Trench) -> Result<Padding, InputError> {
    const SIZE: Bounds = Bounds::new(1.0, 50_000.0, "mm");
    const DEPTH: Bounds = Bounds::new(0.0, 20_000.0, "mm");
    let mut faults = Faults::default();
    let diameter = trench.coated_diameter.as_millimetres();
    faults.range("bottom_width_mm", trench.bottom_width.as_millimetres(), SIZE);
    faults.range(
        "side_slope",
        trench.side_slope,
        Bounds::new(0.0, 10.0, "horizontal per vertical"),
    );
    faults.range("coated_diameter_mm", diameter, SIZE);
    faults.range("bed_mm", trench.bed.as_millimetres(), DEPTH);
    faults.range("cover_mm", trench.cover.as_millimetres(), DEPTH);
    if trench.bottom_width < trench.coated_diameter {
        let kind = FaultKind::Inconsistent("must be at least the coated diameter");
        faults.add("bottom_width_mm", kind);
    }
    faults.check()?;
    let diameter_m = trench.coated_diameter.as_metres();
    let height_m = diameter_m + trench.bed.as_metres() + trench.cover.as_metres();
    let width_m = trench.bottom_width.as_metres();
    let trench_m2 = (width_m + trench.side_slope * height_m) * height_m;
    Ok(Padding { height_m, in_place_m3_per_m: trench_m2 - PI * diameter_m.powi(2) / 4.0 })
}
