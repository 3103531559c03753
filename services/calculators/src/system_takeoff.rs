//! What a whole coating system takes on one joint.

use calc::{Fillet, MasticFill, MasticProfile, PrimerCoat, System, TapeLayer};
use domain::schema::Validate;
use serde::{Deserialize, Serialize};
use units::{Density, Length, Overlap, Percent, SpreadingRate, UnitError};
use utoipa::ToSchema;

use crate::{
    Calculation,
    faults::{Faults, of_input, out_of_range},
    wrap_takeoff::WrapTakeoffAnswer,
};

/// Primer, mastic and tapes of a system on one joint; the diameter grows from wrap to wrap.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({
    "outside_diameter_mm": 610.0,
    "primer": { "primed_length_mm": 500.0, "rate_m2_per_l": 8.0 },
    "layers": [
        { "wrapped_length_mm": 500.0, "roll_width_mm": 150.0, "roll_length_m": 15.0,
          "overlap_percent": 55.0, "tape_thickness_mm": 0.8 },
    ],
}))]
pub struct SystemTakeoffRequest {
    /// Outside diameter of the bare pipe, mm.
    #[schema(minimum = 1, maximum = 20_000)]
    pub outside_diameter_mm: f64,
    /// Primer, where the system has one.
    #[serde(default)]
    #[schema(value_type = SystemPrimer, required = false)]
    pub primer: Option<SystemPrimer>,
    /// Profiling mastic, where the joint needs it.
    #[serde(default)]
    #[schema(value_type = SystemMastic, required = false)]
    pub mastic: Option<SystemMastic>,
    /// The wraps in order, first on the steel.
    #[schema(min_items = 1, max_items = 20)]
    pub layers: Vec<SystemLayer>,
}

/// Primer of a system.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SystemPrimer {
    /// Its material.
    #[serde(default)]
    #[schema(max_length = 200)]
    pub material: String,
    /// Steel and laps onto the plant coating, mm.
    #[schema(minimum = 0, maximum = 10_000_000)]
    pub primed_length_mm: f64,
    /// What a litre covers, m²/L.
    #[schema(minimum = 0.01, maximum = 1000)]
    pub rate_m2_per_l: f64,
    /// Left in tin and brush, %; 0 if absent.
    #[schema(minimum = 0, maximum = 1000)]
    pub loss_percent: Option<f64>,
}

/// Mastic of a system.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SystemMastic {
    /// Its material.
    #[serde(default)]
    #[schema(max_length = 200)]
    pub material: String,
    /// Fillets round the pipe: the edges of the plant coating, the toes of the weld cap.
    #[serde(default)]
    #[schema(max_items = 100)]
    pub around: Vec<FilletAround>,
    /// Fillets along the pipe: both sides of a seam.
    #[serde(default)]
    #[schema(max_items = 100)]
    pub along: Vec<FilletAlong>,
    /// Density, g/cm³.
    #[schema(minimum = 0.01, maximum = 30)]
    pub density_g_per_cm3: f64,
    /// Left over, %; 0 if absent.
    #[schema(minimum = 0, maximum = 1000)]
    pub loss_percent: Option<f64>,
}

/// A fillet round the pipe.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct FilletAround {
    /// Height of the step that it fills, mm.
    #[schema(minimum = 0, maximum = 1000)]
    pub height_mm: f64,
    /// Length of its ramp, mm.
    #[schema(minimum = 0, maximum = 1000)]
    pub run_mm: f64,
}

/// A fillet along the pipe.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[expect(clippy::struct_field_names, reason = "units stand in the names of the fields")]
pub struct FilletAlong {
    /// Height of the step that it fills, mm.
    #[schema(minimum = 0, maximum = 1000)]
    pub height_mm: f64,
    /// Length of its ramp, mm.
    #[schema(minimum = 0, maximum = 1000)]
    pub run_mm: f64,
    /// Its length along the pipe, mm.
    #[schema(minimum = 0, maximum = 1_000_000)]
    pub length_mm: f64,
}

/// One wrap of a system; the fields as in the wrap take-off.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SystemLayer {
    /// Its material.
    #[serde(default)]
    #[schema(max_length = 200)]
    pub material: String,
    /// Between the outer edges of this wrap, mm; at least the width of the roll.
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
    /// Full turns without advance, both ends together; 2 if absent.
    #[schema(minimum = 0, maximum = 1000)]
    pub straight_turns: Option<f64>,
    /// Lap where a new roll is joined on, mm; 0 if absent.
    #[schema(minimum = 0, maximum = 10_000_000)]
    pub splice_lap_mm: Option<f64>,
    /// Waste on top, %; 0 if absent.
    #[schema(minimum = 0, maximum = 1000)]
    pub waste_percent: Option<f64>,
}

/// What the system takes.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct SystemTakeoffAnswer {
    /// Primer, L; null without primer.
    #[schema(required)]
    pub primer_l: Option<f64>,
    /// Primed area, m²; null without primer.
    #[schema(required)]
    pub primed_m2: Option<f64>,
    /// Mastic, kg; null without mastic.
    #[schema(required)]
    pub mastic_kg: Option<f64>,
    /// The wraps, in order.
    pub layers: Vec<LayerTakeoffView>,
    /// Mean diameter over the last wrap, mm.
    pub finished_diameter_mm: f64,
}

/// One wrap of the system.
#[derive(Debug, Clone, Serialize, ToSchema)]
#[schema(as = LayerTakeoff)]
pub struct LayerTakeoffView {
    /// Mean radial build of the wraps under it, mm.
    pub build_below_mm: f64,
    /// Area of its tape with waste, m².
    pub tape_with_waste_m2: f64,
    /// The wrap.
    pub takeoff: WrapTakeoffAnswer,
}

impl From<calc::SystemTakeoff> for SystemTakeoffAnswer {
    fn from(taken: calc::SystemTakeoff) -> Self {
        let layers = taken.layers.into_iter().map(|it| LayerTakeoffView {
            build_below_mm: it.build_below_mm,
            tape_with_waste_m2: it.tape_with_waste_m2,
            takeoff: it.takeoff.into(),
        });
        Self {
            primer_l: taken.primer.map(|it| it.volume.as_litres()),
            primed_m2: taken.primer.map(|it| it.area.as_square_metres()),
            mastic_kg: taken.mastic.map(|it| it.mass.as_kilograms()),
            layers: layers.collect(),
            finished_diameter_mm: taken.finished_diameter_mm,
        }
    }
}

impl Validate for SystemTakeoffRequest {}

impl Calculation for SystemTakeoffRequest {
    const NAME: &'static str = "system-takeoff";
    type Answer = SystemTakeoffAnswer;

    fn answer(&self) -> Result<SystemTakeoffAnswer, Faults> {
        let diameter = Length::from_millimetres(self.outside_diameter_mm)
            .map_err(|error| vec![out_of_range("/outside_diameter_mm", error.to_string())])?;
        let system = system(self.primer.as_ref(), self.mastic.as_ref(), &self.layers)
            .map_err(|error| vec![out_of_range("", error.to_string())])?;
        let taken = calc::system_takeoff(diameter, &system).map_err(of_input)?;
        Ok(taken.into())
    }
}

/// The system in quantities. The schema has bounded every number, so an error here means that a
/// schema allows more than its quantity does.
pub(crate) fn system(
    primer: Option<&SystemPrimer>,
    mastic: Option<&SystemMastic>,
    layers: &[SystemLayer],
) -> Result<System, UnitError> {
    let primer = primer.map(|it| {
        Ok(PrimerCoat {
            material: it.material.clone(),
            primed_length: Length::from_millimetres(it.primed_length_mm)?,
            rate: SpreadingRate::from_square_metres_per_litre(it.rate_m2_per_l)?,
            loss: percent(it.loss_percent)?,
        })
    });
    Ok(System {
        primer: primer.transpose()?,
        mastic: mastic.map(fill).transpose()?,
        layers: layers.iter().map(layer).collect::<Result<_, _>>()?,
    })
}

fn fill(mastic: &SystemMastic) -> Result<MasticFill, UnitError> {
    let fillet = |height_mm, run_mm| {
        let height = Length::from_millimetres(height_mm)?;
        Ok(Fillet { height, run: Length::from_millimetres(run_mm)? })
    };
    let around = mastic.around.iter().map(|it| fillet(it.height_mm, it.run_mm));
    let along = mastic
        .along
        .iter()
        .map(|it| Ok((fillet(it.height_mm, it.run_mm)?, Length::from_millimetres(it.length_mm)?)));
    Ok(MasticFill {
        material: mastic.material.clone(),
        profile: MasticProfile {
            around: around.collect::<Result<_, _>>()?,
            along: along.collect::<Result<_, _>>()?,
        },
        density: Density::from_grams_per_cubic_centimetre(mastic.density_g_per_cm3)?,
        loss: percent(mastic.loss_percent)?,
    })
}

fn layer(layer: &SystemLayer) -> Result<TapeLayer, UnitError> {
    Ok(TapeLayer {
        material: layer.material.clone(),
        wrapped_length: Length::from_millimetres(layer.wrapped_length_mm)?,
        roll_width: Length::from_millimetres(layer.roll_width_mm)?,
        roll_length: Length::from_metres(layer.roll_length_m)?,
        overlap: Overlap::from_percent(layer.overlap_percent)?,
        tape_thickness: Length::from_millimetres(layer.tape_thickness_mm.unwrap_or(0.0))?,
        straight_turns: layer.straight_turns.unwrap_or(2.0),
        splice_lap: Length::from_millimetres(layer.splice_lap_mm.unwrap_or(0.0))?,
        waste: percent(layer.waste_percent)?,
    })
}

fn percent(percent: Option<f64>) -> Result<Percent, UnitError> {
    Percent::from_percent(percent.unwrap_or(0.0))
}
