//! Sizes of steel pipe, to fill a form with.

use calc::SizeProvenance;
use domain::schema::Validate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{Calculation, faults::Faults};

/// Nominal pipe sizes with outside diameters and walls.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PipeSizesRequest {}

/// The sizes, the smallest first.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct PipeSizes {
    /// The sizes: a default for a form. The diameter of a project is data of its own pipe.
    pub items: Vec<PipeSizeView>,
}

/// A nominal size.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct PipeSizeView {
    /// Nominal pipe size.
    #[schema(example = "20")]
    pub nps: &'static str,
    /// Nominal diameter.
    pub dn: u16,
    /// Outside diameter, mm.
    pub outside_diameter_mm: f64,
    /// Where it is known from.
    pub source: &'static str,
    /// Walls by schedule; empty where none is known here.
    pub walls: Vec<PipeWall>,
}

/// The wall of a schedule.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct PipeWall {
    /// The schedule.
    #[schema(example = "STD")]
    pub schedule: &'static str,
    /// Wall thickness, mm.
    pub wall_mm: f64,
}

/// Every size.
pub fn pipe_sizes() -> PipeSizes {
    let items = calc::pipe_sizes().iter().map(|size| PipeSizeView {
        nps: size.nps,
        dn: size.dn,
        outside_diameter_mm: size.outside_diameter_mm,
        walls: size.walls_mm().map(|(schedule, wall_mm)| PipeWall { schedule, wall_mm }).collect(),
        source: source(size.provenance),
    });
    PipeSizes { items: items.collect() }
}

const fn source(provenance: SizeProvenance) -> &'static str {
    match provenance {
        SizeProvenance::Published => {
            "ASME B36.10M: outside diameter from a published table; walls from the library \
             `fluids` 1.3.1, not held against the standard"
        }
        SizeProvenance::Fluids => "the library `fluids` 1.3.1, not held against ASME B36.10M",
        SizeProvenance::Memory => "from memory, unverified: 25.4 mm times the NPS, rounded",
    }
}

impl Validate for PipeSizesRequest {}

impl Calculation for PipeSizesRequest {
    const NAME: &'static str = "pipe-sizes";
    type Answer = PipeSizes;

    fn answer(&self) -> Result<PipeSizes, Faults> {
        Ok(pipe_sizes())
    }
}
