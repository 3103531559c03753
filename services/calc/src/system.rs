//! Take-off of a whole coating system: on one joint, and over many.

use units::{Density, Length, Overlap, Percent, SpreadingRate};

use crate::{
    input::{Bounds, FaultKind, Faults, InputError},
    mastic::{MasticProfile, MasticQuantity, mastic_quantity},
    primer::{PrimerQuantity, primer_quantity},
    wrap::{Wrap, WrapTakeoff, wrap_takeoff},
};

/// The quantities of a coating system that decide what it takes. Materials are named by a code.
#[derive(Debug, Clone, PartialEq)]
pub struct System {
    /// Primer, where the system has one.
    pub primer: Option<PrimerCoat>,
    /// Profiling mastic, where the joint needs it.
    pub mastic: Option<MasticFill>,
    /// The wraps in order, first on the steel; at least one.
    pub layers: Vec<TapeLayer>,
}

/// Primer of a system.
#[derive(Debug, Clone, PartialEq)]
pub struct PrimerCoat {
    /// Its material.
    pub material: String,
    /// Steel and laps onto the plant coating.
    pub primed_length: Length,
    /// What a litre covers.
    pub rate: SpreadingRate,
    /// Left in tin and brush.
    pub loss: Percent,
}

/// Mastic of a system.
#[derive(Debug, Clone, PartialEq)]
pub struct MasticFill {
    /// Its material.
    pub material: String,
    /// What it fills.
    pub profile: MasticProfile,
    /// Density.
    pub density: Density,
    /// Left over.
    pub loss: Percent,
}

/// One wrap of a system; the fields as in [`Wrap`].
#[derive(Debug, Clone, PartialEq)]
pub struct TapeLayer {
    /// Its material.
    pub material: String,
    /// Between the outer edges of this wrap.
    pub wrapped_length: Length,
    /// Width of the tape.
    pub roll_width: Length,
    /// Length of a roll.
    pub roll_length: Length,
    /// Overlap.
    pub overlap: Overlap,
    /// Thickness of the tape.
    pub tape_thickness: Length,
    /// Full turns without advance, both ends together.
    pub straight_turns: f64,
    /// Lap where a new roll is joined on.
    pub splice_lap: Length,
    /// Waste on top.
    pub waste: Percent,
}

/// What a system takes on one joint.
#[derive(Debug, Clone, PartialEq)]
pub struct SystemTakeoff {
    /// Primer.
    pub primer: Option<PrimerQuantity>,
    /// Mastic.
    pub mastic: Option<MasticQuantity>,
    /// The wraps, in order.
    pub layers: Vec<LayerTakeoff>,
    /// Mean diameter over the last wrap, mm.
    pub finished_diameter_mm: f64,
}

/// One wrap of the system on one joint.
#[derive(Debug, Clone, PartialEq)]
pub struct LayerTakeoff {
    /// Mean radial build of the wraps under it, Σ t m, mm.
    pub build_below_mm: f64,
    /// Area of its tape with waste, m².
    pub tape_with_waste_m2: f64,
    /// The wrap.
    pub takeoff: WrapTakeoff,
}

/// Takes the system off on a bare pipe of `outside_diameter`.
///
/// The diameter grows from wrap to wrap by the mean build, thickness times mean number of layers.
pub fn system_takeoff(
    outside_diameter: Length,
    system: &System,
) -> Result<SystemTakeoff, InputError> {
    let mut faults = Faults::default();
    if system.layers.is_empty() {
        faults.add("layers", FaultKind::Empty);
    }
    let primer = system.primer.as_ref().and_then(|it| {
        let quantity = primer_quantity(outside_diameter, it.primed_length, it.rate, it.loss);
        faults.absorb("primer", quantity)
    });
    let mastic = system.mastic.as_ref().and_then(|it| {
        let quantity = mastic_quantity(outside_diameter, &it.profile, it.density, it.loss);
        faults.absorb("mastic", quantity)
    });
    let mut build_below_mm = 0.0;
    let mut layers = Vec::with_capacity(system.layers.len());
    for (index, layer) in system.layers.iter().enumerate() {
        let taken = layer_takeoff(outside_diameter, build_below_mm, layer);
        if let Some(taken) = faults.absorb(&format!("layers/{index}"), taken) {
            build_below_mm += layer.tape_thickness.as_millimetres() * taken.takeoff.layers_mean;
            layers.push(taken);
        }
    }
    faults.check()?;
    let finished_diameter_mm = outside_diameter.as_millimetres() + 2.0 * build_below_mm;
    Ok(SystemTakeoff { primer, mastic, layers, finished_diameter_mm })
}

fn layer_takeoff(
    outside_diameter: Length,
    build_below_mm: f64,
    layer: &TapeLayer,
) -> Result<LayerTakeoff, InputError> {
    let build_below = Length::from_millimetres(build_below_mm).map_err(|_| {
        let bounds = Bounds::new(0.0, 1000.0, "mm");
        let kind = FaultKind::OutOfRange { value: build_below_mm, bounds };
        InputError::one("build_below_mm", kind)
    })?;
    let takeoff = wrap_takeoff(&Wrap {
        outside_diameter,
        wrapped_length: layer.wrapped_length,
        roll_width: layer.roll_width,
        roll_length: layer.roll_length,
        overlap: layer.overlap,
        tape_thickness: layer.tape_thickness,
        build_below,
        straight_turns: layer.straight_turns,
        splice_lap: layer.splice_lap,
        waste: layer.waste,
    })?;
    let tape_with_waste_m2 = layer.roll_width.as_metres() * takeoff.tape_with_waste_m;
    Ok(LayerTakeoff { build_below_mm, tape_with_waste_m2, takeoff })
}
