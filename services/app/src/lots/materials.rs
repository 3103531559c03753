//! What a joint is made of: every lot of it, fact by fact.

use std::collections::{BTreeMap, HashMap, HashSet};

use chrono::{DateTime, Utc};
use domain::{
    ids::{EventId, JointId, MovementId, ProjectId},
    joints::{in_order, state::LayerRole},
    setup::ProjectSetup,
    stock::{consumption::Source, decimal, number},
};
use rust_decimal::Decimal;
use serde::Serialize;
use store::{PgConnection, stock_movements::Filter};
use utoipa::ToSchema;

use super::trace::works;
use crate::{App, AppError, projects::ProjectEntry, setup::snapshot_at};

/// How a quantity is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum QuantitySource {
    /// The fact says how much was used.
    Recorded,
    /// The fact names the lot; how much of it was used is what the plan gives.
    Backflushed,
    /// The fact names no lot: it is what the crew had.
    Assumed,
}

impl From<Source> for QuantitySource {
    fn from(source: Source) -> Self {
        match source {
            Source::Recorded => Self::Recorded,
            Source::Backflushed => Self::Backflushed,
            Source::Assumed => Self::Assumed,
        }
    }
}

/// A lot that a fact names or, where it names none, is assumed to have used.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct LotOfFact {
    /// Lot code.
    pub lot: String,
    /// Code of its material; none where the lot is not set up.
    pub material: Option<String>,
    /// How much was used, as far as is known.
    pub quantity: Option<f64>,
    /// The base unit: m, L, kg or piece.
    pub unit: Option<&'static str>,
    /// How that is known.
    pub source: Option<QuantitySource>,
}

/// A fact that used material.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct MaterialFact {
    /// The fact.
    pub event: EventId,
    /// Its kind.
    pub kind: &'static str,
    /// The layer that it made; none for a repair.
    pub layer: Option<LayerRole>,
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
    let mut taken = taken(&mut conn, project.id, found.id).await?;
    let mut facts = Vec::new();
    for fact in store::facts::of_joint(&mut conn, project.id, found.id).await? {
        facts.push(fact.record()?.to_fact());
    }
    let facts = in_order(&facts).into_iter().filter_map(|fact| {
        let work = fact.event.lot_work()?;
        let mut lots: BTreeMap<String, Option<(Decimal, Source)>> = taken
            .remove(&fact.id)
            .unwrap_or_default()
            .into_iter()
            .map(|(lot, it)| (lot, Some(it)))
            .collect();
        for code in work.codes() {
            // Until it is posted, what the fact says is known already.
            let says = work.quantity(code).and_then(decimal).map(|it| (it, Source::Recorded));
            lots.entry(code.to_owned()).or_insert(says);
        }
        let lots: Vec<LotOfFact> =
            lots.into_iter().map(|(lot, it)| view(&setup, lot, it)).collect();
        (!lots.is_empty()).then(|| MaterialFact {
            event: fact.id,
            kind: fact.event.kind(),
            layer: work.layer,
            occurred_at: fact.occurred_at,
            crew: work.crew.map(str::to_owned),
            still_on: on.contains(&fact.id),
            lots,
        })
    });
    let facts = facts.collect();
    Ok(JointMaterials { joint: found.id, joint_number: found.entry.joint_number, facts })
}

fn view(setup: &ProjectSetup, lot: String, known: Option<(Decimal, Source)>) -> LotOfFact {
    let material = setup.lots.get(&lot).map(|it| it.material.clone());
    let unit = material.as_ref().and_then(|code| setup.materials.get(code));
    LotOfFact {
        unit: unit.map(|it| it.unit().symbol()),
        material,
        quantity: known.map(|(quantity, _)| number(quantity)),
        source: known.map(|(_, source)| source.into()),
        lot,
    }
}

type Taken = HashMap<EventId, BTreeMap<String, (Decimal, Source)>>;

/// What the ledger says the facts of the joint took and was not given back.
async fn taken(
    conn: &mut PgConnection,
    project: ProjectId,
    joint: JointId,
) -> Result<Taken, AppError> {
    let filter = Filter { joint: Some(joint), ..Filter::default() };
    let posted = store::stock_movements::list(conn, project, &filter, i64::MAX).await?;
    let undone: HashSet<MovementId> = posted.iter().filter_map(|it| it.movement.reverses).collect();
    let mut taken = Taken::new();
    for it in posted.into_iter().map(|it| it.movement) {
        let source = it.reason.as_deref().and_then(Source::parse);
        let (Some(fact), Some(source)) = (it.fact, source) else { continue };
        if undone.contains(&it.id) {
            continue;
        }
        let lots = taken.entry(fact).or_default();
        lots.entry(it.lot).or_insert((Decimal::ZERO, source)).0 += it.quantity.value();
    }
    Ok(taken)
}
