//! A coating system of the set-up as the calculation takes it.

use calc::{
    Fillet, InputError, MasticFill, MasticProfile, PrimerCoat, System, TapeLayer, system_takeoff,
};
use units::{Density, Length, Overlap, Percent, SpreadingRate, UnitError};

use super::{JointGroup, LayerNeed, UnknownQuantity};
use crate::{
    joints::state::LayerRole,
    setup::{Layer, LinePipe, MasticSupply, PrimerSupply, ProjectSetup, TapeSupply},
};

/// Overlap for a double layer all over (second-hand).
const USUAL_OVERLAP_PERCENT: f64 = 55.0;

/// One full turn at each end (common practice, no source).
const USUAL_STRAIGHT_TURNS: f64 = 2.0;

/// Lap onto the plant coating (published: at least 50 mm, a line-pipe mill's laying instructions).
const USUAL_LAP_MM: f64 = 50.0;

/// Lap where a roll is joined on: 150 mm, 6 in (second-hand).
const USUAL_SPLICE_LAP_MM: f64 = 150.0;

/// Waste of tape, loss of primer and of mastic (common practice, no source).
const USUAL_WASTE_PERCENT: f64 = 5.0;
const USUAL_LOSS_PERCENT: f64 = 10.0;

/// The part of a system whose quantities the set-up tells.
#[derive(Debug, Clone, PartialEq)]
pub struct Known {
    /// Code of the system.
    pub code: String,
    /// Of the bare pipe.
    pub outside_diameter: Length,
    /// The system.
    pub system: System,
    primer: Option<LayerRole>,
    mastic: Option<LayerRole>,
    tapes: Vec<LayerRole>,
}

impl Known {
    /// What its layers take on one joint, in the order in which they are put on.
    pub fn needs(&self) -> Result<Vec<LayerNeed>, InputError> {
        let taken = system_takeoff(self.outside_diameter, &self.system)?;
        let mut needs = Vec::new();
        if let (Some(role), Some(coat), Some(primer)) =
            (self.primer, &self.system.primer, taken.primer)
        {
            let primer_l = Some(primer.volume.as_litres());
            needs.push(LayerNeed { primer_l, ..nothing(role, &coat.material) });
        }
        if let (Some(role), Some(fill), Some(mastic)) =
            (self.mastic, &self.system.mastic, taken.mastic)
        {
            let mastic_kg = Some(mastic.mass.as_kilograms());
            needs.push(LayerNeed { mastic_kg, ..nothing(role, &fill.material) });
        }
        let tapes = self.tapes.iter().zip(&self.system.layers).zip(&taken.layers);
        needs.extend(tapes.map(|((role, layer), taken)| LayerNeed {
            tape_m: Some(taken.takeoff.tape_with_waste_m),
            tape_m2: Some(taken.tape_with_waste_m2),
            rolls: Some(taken.takeoff.rolls_per_joint_whole),
            layers_min: Some(taken.takeoff.layers_min),
            ..nothing(*role, &layer.material)
        }));
        Ok(needs)
    }
}

fn nothing(role: LayerRole, material: &str) -> LayerNeed {
    LayerNeed {
        role,
        material: material.to_owned(),
        tape_m: None,
        tape_m2: None,
        rolls: None,
        layers_min: None,
        primer_l: None,
        mastic_kg: None,
    }
}

/// The system of the joints of `group`, and every layer of it whose quantity cannot be told.
pub fn known_system(
    setup: &ProjectSetup,
    group: &JointGroup,
) -> (Option<Known>, Vec<UnknownQuantity>) {
    let section = setup.sections.get(&group.section);
    let code = group.coating_system.clone();
    let code = code.or_else(|| section.map(|it| it.coating_system.clone())).unwrap_or_default();
    let whole =
        |detail: String| UnknownQuantity { coating_system: code.clone(), role: None, detail };
    let Some(pipe) = section.and_then(|it| setup.line_pipes.get(&it.line_pipe)) else {
        let detail = format!("section {} has no line pipe", group.section);
        return (None, vec![whole(detail)]);
    };
    let Some(system) = setup.systems.get(&code) else {
        return (None, vec![whole(format!("coating system {code} is not known"))]);
    };
    let Ok(outside_diameter) = Length::from_millimetres(pipe.outside_diameter_mm) else {
        return (None, vec![whole(format!("the diameter of {} is no length", pipe.code))]);
    };
    let mut known = Known {
        code: code.clone(),
        outside_diameter,
        system: System { primer: None, mastic: None, layers: Vec::new() },
        primer: None,
        mastic: None,
        tapes: Vec::new(),
    };
    let mut unknown = Vec::new();
    for layer in system.layers_on(group.kind) {
        if let Err(detail) = known.take(setup, pipe, layer) {
            let role = Some(layer.role);
            unknown.push(UnknownQuantity { coating_system: code.clone(), role, detail });
        }
    }
    if known.system.layers.is_empty() {
        unknown.push(whole("no tape of the system has a roll in the set-up".to_owned()));
        return (None, unknown);
    }
    (Some(known), unknown)
}

impl Known {
    fn take(&mut self, setup: &ProjectSetup, pipe: &LinePipe, layer: &Layer) -> Result<(), String> {
        let code = &layer.material;
        let material =
            setup.materials.get(code).ok_or_else(|| format!("material {code} is not known"))?;
        let wrong = |error: UnitError| format!("{code}: {error}");
        if let Some(primer) = &material.primer {
            self.system.primer = Some(coat(pipe, layer, primer).map_err(wrong)?);
            self.primer = Some(layer.role);
        } else if let Some(mastic) = &material.mastic {
            let ramp = layer.edge_ramp_mm.ok_or("the layer says no ramp of its mastic")?;
            self.system.mastic = Some(fill(pipe, layer, ramp, mastic).map_err(wrong)?);
            self.mastic = Some(layer.role);
        } else if let Some(tape) = &material.tape {
            self.system.layers.push(wrap(pipe, layer, tape).map_err(wrong)?);
            self.tapes.push(layer.role);
        } else {
            return Err(format!("material {code} says neither roll, nor coverage, nor density"));
        }
        Ok(())
    }
}

/// Both cutbacks and the laps at both sides.
fn band(pipe: &LinePipe, layer: &Layer) -> Result<Length, UnitError> {
    let lap_mm = layer.lap_mm.unwrap_or(USUAL_LAP_MM);
    Length::from_millimetres(2.0 * (pipe.cutback_mm + lap_mm))
}

fn coat(pipe: &LinePipe, layer: &Layer, supply: &PrimerSupply) -> Result<PrimerCoat, UnitError> {
    Ok(PrimerCoat {
        material: layer.material.clone(),
        primed_length: band(pipe, layer)?,
        rate: SpreadingRate::from_square_metres_per_litre(supply.coverage_m2_per_l)?,
        loss: Percent::from_percent(supply.loss_percent.unwrap_or(USUAL_LOSS_PERCENT))?,
    })
}

/// A fillet at each of the two edges of the plant coating, and at each of the two toes of the weld.
fn fill(
    pipe: &LinePipe,
    layer: &Layer,
    edge_ramp_mm: f64,
    supply: &MasticSupply,
) -> Result<MasticFill, UnitError> {
    let fillet = |height_mm, run_mm| {
        Ok(Fillet {
            height: Length::from_millimetres(height_mm)?,
            run: Length::from_millimetres(run_mm)?,
        })
    };
    let edge = fillet(pipe.plant_coating_thickness_mm, edge_ramp_mm)?;
    let mut around = vec![edge, edge];
    if let Some(cap_mm) = layer.weld_cap_mm {
        let toe = fillet(cap_mm, layer.weld_ramp_mm.unwrap_or(edge_ramp_mm))?;
        around.extend([toe, toe]);
    }
    Ok(MasticFill {
        material: layer.material.clone(),
        profile: MasticProfile { around, along: Vec::new() },
        density: Density::from_grams_per_cubic_centimetre(supply.density_kg_per_l)?,
        loss: Percent::from_percent(supply.loss_percent.unwrap_or(USUAL_LOSS_PERCENT))?,
    })
}

fn wrap(pipe: &LinePipe, layer: &Layer, supply: &TapeSupply) -> Result<TapeLayer, UnitError> {
    let overlap = layer.overlap_percent.or(layer.overlap_min_percent);
    Ok(TapeLayer {
        material: layer.material.clone(),
        wrapped_length: band(pipe, layer)?,
        roll_width: Length::from_millimetres(supply.roll_width_mm)?,
        roll_length: Length::from_metres(supply.roll_length_m)?,
        overlap: Overlap::from_percent(overlap.unwrap_or(USUAL_OVERLAP_PERCENT))?,
        tape_thickness: Length::from_millimetres(supply.thickness_mm)?,
        straight_turns: layer.straight_turns.unwrap_or(USUAL_STRAIGHT_TURNS),
        splice_lap: Length::from_millimetres(layer.splice_lap_mm.unwrap_or(USUAL_SPLICE_LAP_MM))?,
        waste: Percent::from_percent(supply.waste_percent.unwrap_or(USUAL_WASTE_PERCENT))?,
    })
}
