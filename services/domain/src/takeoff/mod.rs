//! What the plan will consume: the take-off of a joint, a section or a project from its set-up.
//!
//! A roll, coverage, density or ramp that the set-up does not say is never guessed: it comes back
//! beside the quantities, layer by layer, so that nobody orders by a sum that silently left
//! something out. What has a usual value in the trade has it as the default of its field.

mod many;
mod system;

use serde::Serialize;
use utoipa::ToSchema;

use crate::{
    joints::{RegisterEntry, state::LayerRole},
    setup::ProjectSetup,
};

pub use many::{Bill, JointGroup, MaterialSum, of_many};
pub use system::{Known, known_system};

/// A layer whose quantity the set-up does not tell.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, ToSchema)]
pub struct UnknownQuantity {
    /// Coating system, or the one that is named and missing.
    pub coating_system: String,
    /// The layer; none where the whole system is unknown.
    pub role: Option<LayerRole>,
    /// What is missing in the set-up.
    pub detail: String,
}

/// What one layer takes on one joint, with waste and loss.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct LayerNeed {
    /// Which layer.
    pub role: LayerRole,
    /// Code of its material.
    pub material: String,
    /// Tape, m.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tape_m: Option<f64>,
    /// Tape, m².
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tape_m2: Option<f64>,
    /// Rolls opened for one joint when remnants are scrapped.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rolls: Option<u64>,
    /// Fewest layers of tape anywhere between the ends.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub layers_min: Option<u64>,
    /// Primer, L.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub primer_l: Option<f64>,
    /// Mastic, kg.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mastic_kg: Option<f64>,
}

/// What one joint takes.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct JointNeed {
    /// Its coating system.
    pub coating_system: Option<String>,
    /// Layer by layer, in order.
    pub layers: Vec<LayerNeed>,
    /// What the set-up does not tell.
    pub unknown: Vec<UnknownQuantity>,
}

/// The take-off of one joint.
pub fn of_joint(setup: &ProjectSetup, entry: &RegisterEntry) -> JointNeed {
    let named = setup.assignment(entry).map(|it| it.system.code.clone());
    let (known, mut unknown) = known_system(
        setup,
        &JointGroup {
            section: entry.section.clone(),
            kind: entry.kind,
            coating_system: entry.coating_system.clone(),
        },
    );
    let Some(known) = known else {
        return JointNeed { coating_system: named, layers: Vec::new(), unknown };
    };
    let layers = known.needs().unwrap_or_else(|error| {
        unknown.push(UnknownQuantity {
            coating_system: known.code.clone(),
            role: None,
            detail: error.to_string(),
        });
        Vec::new()
    });
    JointNeed { coating_system: named, layers, unknown }
}
