//! What a joint is made of: every lot of it, fact by fact.

use std::collections::HashSet;

use chrono::{DateTime, Utc};
use domain::ids::{EventId, JointId};
use serde::Serialize;
use utoipa::ToSchema;

use super::trace::{material_of, works};
use crate::{App, AppError, projects::ProjectEntry, setup::snapshot_at};

/// How a quantity is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum QuantitySource {
    /// The fact says how much was used.
    Recorded,
}

/// A lot that a fact names.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct LotOfFact {
    /// Lot code.
    pub lot: String,
    /// Code of its material; none where the lot is not set up.
    pub material: Option<String>,
    /// How much was used, in the base unit of the material, as far as is known.
    pub quantity: Option<f64>,
    /// How that is known.
    pub source: Option<QuantitySource>,
}

/// A fact that used material.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct MaterialFact {
    /// The fact.
    pub event: EventId,
    /// Its kind.
    pub kind: String,
    /// Which wrap, where it is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub layer: Option<String>,
    /// When it happened in the field.
    pub occurred_at: DateTime<Utc>,
    /// Crew code.
    pub crew: Option<String>,
    /// Still on the joint: not cleaned off since.
    pub still_on: bool,
    /// Its lots.
    pub lots: Vec<LotOfFact>,
}

/// What a joint is made of.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct JointMaterials {
    /// The joint.
    pub joint: JointId,
    /// Its number.
    pub joint_number: String,
    /// The facts that name lots and count, in the order of the field.
    pub facts: Vec<MaterialFact>,
}

/// What the joint named `joint`, by number or id, is made of.
pub async fn materials(
    app: &App,
    project: &ProjectEntry,
    joint: &str,
) -> Result<JointMaterials, AppError> {
    let mut conn = app.begin_in(project.id).await?;
    let setup = snapshot_at(app, &mut conn, project.id, project.setup_version).await?;
    let found = store::joints::find(&mut conn, project.id, joint).await?;
    let found = found.ok_or_else(|| AppError::not_found(format!("joint {joint}")))?;
    let on: HashSet<EventId> = works(&found).collect();
    let mut facts: Vec<MaterialFact> = Vec::new();
    for used in store::lot_uses::of_joints(&mut conn, project.id, &[found.id], None).await? {
        let lot = LotOfFact {
            material: material_of(&setup, &used.lot).map(str::to_owned),
            quantity: used.quantity,
            source: used.quantity.map(|_| QuantitySource::Recorded),
            lot: used.lot,
        };
        match facts.last_mut().filter(|last| last.event == used.fact) {
            Some(fact) => fact.lots.push(lot),
            None => facts.push(MaterialFact {
                event: used.fact,
                kind: used.kind,
                layer: used.layer,
                occurred_at: used.occurred_at,
                crew: used.crew,
                still_on: on.contains(&used.fact),
                lots: vec![lot],
            }),
        }
    }
    Ok(JointMaterials { joint: found.id, joint_number: found.entry.joint_number, facts })
}
