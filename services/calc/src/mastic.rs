//! Profiling mastic: fillets at the edges of the plant coating and at the weld.

use std::f64::consts::PI;

use units::{Density, Length, Mass, Percent, Volume};

use crate::input::{Bounds, FaultKind, Faults, InputError};

/// A triangular fillet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fillet {
    /// Height of the step that it fills, h.
    pub height: Length,
    /// Length of its ramp, b.
    pub run: Length,
}

/// What has to be smoothed on one joint.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct MasticProfile {
    /// Fillets round the pipe: the two edges of the plant coating, the two toes of the weld cap.
    pub around: Vec<Fillet>,
    /// Fillets along the pipe, with their length: both sides of a seam.
    pub along: Vec<(Fillet, Length)>,
}

/// Mastic on one joint, with loss.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MasticQuantity {
    /// Volume.
    pub volume: Volume,
    /// Mass.
    pub mass: Mass,
}

const DIAMETER: Bounds = Bounds::new(1.0, 20_000.0, "mm");
const STEP: Bounds = Bounds::new(0.0, 1000.0, "mm");

/// Volume of one fillet round `diameter`: π (D + 2h/3) · b h / 2.
///
/// Pappus's second theorem: area of the triangle times the way of its centroid, which lies h/3
/// over the steel.
pub fn fillet_volume(diameter: Length, fillet: Fillet) -> Result<Volume, InputError> {
    let profile = MasticProfile { around: vec![fillet], along: Vec::new() };
    profile_volume(diameter, &profile)
}

/// Mastic for a whole profile on `diameter`, with `loss` on top.
pub fn mastic_quantity(
    diameter: Length,
    profile: &MasticProfile,
    density: Density,
    loss: Percent,
) -> Result<MasticQuantity, InputError> {
    let net = profile_volume(diameter, profile)?;
    let too_much = |_| InputError::one("loss_percent", FaultKind::Uncountable { what: "litres" });
    let volume = Volume::from_cubic_millimetres(loss.on_top_of(net.as_cubic_millimetres()))
        .map_err(too_much)?;
    let grams = volume.as_cubic_centimetres() * density.as_grams_per_cubic_centimetre();
    let mass = Mass::from_kilograms(grams / 1000.0).map_err(too_much)?;
    Ok(MasticQuantity { volume, mass })
}

fn profile_volume(diameter: Length, profile: &MasticProfile) -> Result<Volume, InputError> {
    let mut faults = Faults::default();
    let diameter = diameter.as_millimetres();
    faults.range("outside_diameter_mm", diameter, DIAMETER);
    let mut section = |field: String, fillet: Fillet| {
        let (height, run) = (fillet.height.as_millimetres(), fillet.run.as_millimetres());
        faults.range(&format!("{field}/height_mm"), height, STEP);
        faults.range(&format!("{field}/run_mm"), run, STEP);
        run * height / 2.0
    };
    let around = profile.around.iter().enumerate().map(|(index, &fillet)| {
        let way = PI * (diameter + 2.0 * fillet.height.as_millimetres() / 3.0);
        section(format!("around/{index}"), fillet) * way
    });
    let around: f64 = around.sum();
    let along = profile.along.iter().enumerate().map(|(index, &(fillet, length))| {
        section(format!("along/{index}"), fillet) * length.as_millimetres()
    });
    let along: f64 = along.sum();
    faults.check()?;
    Volume::from_cubic_millimetres(around + along)
        .map_err(|_| InputError::one("around", FaultKind::Uncountable { what: "litres" }))
}
