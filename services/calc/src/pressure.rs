//! Contact pressure under a tape that is wrapped with tension.

use units::{Force, Length, Pressure};

use crate::input::{Bounds, FaultKind, Faults, InputError};

/// The pressure under `layers` (mean or least number, 0 to 1000) of a band of `width` that is
/// pulled with `tension` round `diameter`: p = n T / (w r).
///
/// A thin ring under hoop tension, layers of the same tension add up: any text on strength of
/// materials; from memory, unverified. What it teaches: the same tension per width presses ten
/// times less on NPS 48 than on NPS 4, so rolling down matters more on a big pipe.
pub fn contact_pressure(
    tension: Force,
    width: Length,
    diameter: Length,
    layers: f64,
) -> Result<Pressure, InputError> {
    let (width, diameter) = (width.as_millimetres(), diameter.as_millimetres());
    let mut faults = Faults::default();
    faults.range("roll_width_mm", width, Bounds::new(1.0, 1e7, "mm"));
    faults.range("diameter_mm", diameter, Bounds::new(1.0, 20_000.0, "mm"));
    faults.range("layers", layers, Bounds::new(0.0, 1000.0, "layers"));
    faults.check()?;
    // N over mm² is MPa.
    let megapascals = layers * tension.as_newtons() / (width * diameter / 2.0);
    Pressure::from_megapascals(megapascals)
        .map_err(|_| InputError::one("tension_n", FaultKind::Inconsistent("is beyond measure")))
}
