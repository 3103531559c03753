//! Primer for the steel and the laps onto the plant coating.

use std::f64::consts::PI;

use units::{Area, Length, Percent, SpreadingRate, Volume};

use crate::input::{Bounds, FaultKind, Faults, InputError};

/// Primer on one joint.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PrimerQuantity {
    /// Primed area, π D Lp.
    pub area: Area,
    /// With loss.
    pub volume: Volume,
}

/// Primer for the length `primed` (all steel and the laps, at least 100 mm onto the plant coating
/// by one county's application sheet, second-hand) at `rate`, with `loss` left in tin and brush
/// on top (10 to 20 % is common practice, no source).
///
/// Published rates spread by a factor of three (23.4 m²/L machine-applied in a handbook, 5 to
/// 10 m²/L by brush as common practice), so the rate is the material's own.
pub fn primer_quantity(
    diameter: Length,
    primed: Length,
    rate: SpreadingRate,
    loss: Percent,
) -> Result<PrimerQuantity, InputError> {
    let (diameter, primed) = (diameter.as_millimetres(), primed.as_millimetres());
    let mut faults = Faults::default();
    faults.range("outside_diameter_mm", diameter, Bounds::new(1.0, 20_000.0, "mm"));
    faults.range("primed_length_mm", primed, Bounds::new(0.0, 1e7, "mm"));
    faults.check()?;
    let too_much =
        |_| InputError::one("primed_length_mm", FaultKind::Uncountable { what: "litres" });
    let area = Area::from_square_metres(PI * diameter * primed / 1e6).map_err(too_much)?;
    let net = area.as_square_metres() / rate.as_square_metres_per_litre();
    let volume = Volume::from_litres(loss.on_top_of(net)).map_err(too_much)?;
    Ok(PrimerQuantity { area, volume })
}
