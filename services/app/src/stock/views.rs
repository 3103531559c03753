//! Movements as they are shown.

use chrono::{DateTime, Utc};
use domain::{
    ids::{CountId, DeliveryId, EventId, JointId, MovementId, ProjectId, UserId},
    setup::ProjectSetup,
    stock::{MovementKind, Place, Quantity},
};
use serde::Serialize;
use serde_json::Value;
use store::{PgConnection, stock_movements::StoredMovement};
use utoipa::ToSchema;
use uuid::Uuid;

use super::{BalanceView, balances::views_of};
use crate::AppError;

/// A movement as it is shown.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct MovementView {
    /// Id.
    pub id: MovementId,
    /// Its place in the order of recording.
    pub seq: i64,
    /// Kind.
    pub kind: MovementKind,
    /// Code of the lot.
    pub lot: String,
    /// Code of its material.
    pub material: Option<String>,
    /// How much, base units.
    pub quantity: Quantity,
    /// The base unit: m, L, kg or piece.
    pub unit: Option<&'static str>,
    /// The place it left.
    pub from: String,
    /// The place it reached.
    pub to: String,
    /// The joint it went onto.
    pub joint_id: Option<JointId>,
    /// The fact that used it.
    pub fact_id: Option<EventId>,
    /// The delivery it came with.
    pub delivery_id: Option<DeliveryId>,
    /// The count that it follows.
    pub count_id: Option<CountId>,
    /// The movement that it undoes.
    pub reverses: Option<MovementId>,
    /// Why.
    pub reason: Option<String>,
    /// Another lot would have expired sooner.
    pub chosen_against_order: bool,
    /// When it happened.
    pub occurred_at: DateTime<Utc>,
    /// When it was recorded.
    pub recorded_at: DateTime<Utc>,
    /// By whom; null if by the server itself, for a fact.
    pub recorded_by: Option<UserId>,
}

impl MovementView {
    /// `stored` with what `setup` says of its lot.
    pub fn new(stored: StoredMovement, setup: &ProjectSetup) -> Self {
        let StoredMovement { movement, seq, recorded_at, recorded_by, .. } = stored;
        let material = setup.lots.get(&movement.lot).map(|lot| lot.material.clone());
        let unit = material.as_ref().and_then(|code| setup.materials.get(code));
        Self {
            id: movement.id,
            seq,
            kind: movement.kind,
            unit: unit.map(|it| it.unit().symbol()),
            material,
            lot: movement.lot,
            quantity: movement.quantity,
            from: movement.from,
            to: movement.to,
            joint_id: movement.joint,
            fact_id: movement.fact,
            delivery_id: movement.delivery,
            count_id: movement.count,
            reverses: movement.reverses,
            reason: movement.reason,
            chosen_against_order: movement.chosen_against_order,
            occurred_at: movement.occurred_at,
            recorded_at,
            recorded_by,
        }
    }
}

/// What a request has moved.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Recorded {
    /// The movements, in order.
    pub movements: Vec<MovementView>,
    /// What the locations that they left and reached hold of their lots now.
    pub balances: Vec<BalanceView>,
    /// It was recorded already.
    #[serde(skip)]
    pub repeated: bool,
}

/// What `movements` have left behind.
pub(super) async fn recorded(
    conn: &mut PgConnection,
    project: ProjectId,
    (movements, repeated): (Vec<StoredMovement>, bool),
    setup: &ProjectSetup,
    now: DateTime<Utc>,
) -> Result<Recorded, AppError> {
    let mut lots: Vec<String> = movements.iter().map(|it| it.movement.lot.clone()).collect();
    lots.sort();
    lots.dedup();
    let held = store::stock_balances::list(conn, project, None, Some(&lots)).await?;
    let mut touched: Vec<(String, String)> = movements
        .iter()
        .flat_map(|it| [(&it.movement.from, &it.movement.lot), (&it.movement.to, &it.movement.lot)])
        .filter(|(place, _)| Place::is_physical(place))
        .map(|(place, lot)| (place.clone(), lot.clone()))
        .collect();
    touched.sort();
    touched.dedup();
    // A place that is empty now is part of the answer.
    let after = touched.into_iter().map(|(location, lot)| {
        let found = held.iter().find(|it| it.location == location && it.lot == lot);
        let quantity = found.map(|it| it.quantity).unwrap_or_default();
        store::stock_balances::Balance { location, lot, quantity }
    });
    let balances = views_of(after.collect(), setup, now);
    let movements = movements.into_iter().map(|it| MovementView::new(it, setup)).collect();
    Ok(Recorded { movements, balances, repeated })
}

/// What the request `id` has recorded already; another content under its id is refused.
pub(super) async fn earlier(
    conn: &mut PgConnection,
    project: ProjectId,
    id: Uuid,
    asked: &Value,
) -> Result<Option<Vec<StoredMovement>>, AppError> {
    let found = store::stock_movements::of_ask(conn, project, id).await?;
    match found.first() {
        None => Ok(None),
        Some(first) if first.asked.as_ref() == Some(asked) => Ok(Some(found)),
        Some(_) => Err(id_reused("movement")),
    }
}

/// Another `what` has this id.
pub(super) fn id_reused(what: &str) -> AppError {
    let detail = format!("another {what} has this id: make a new one for new content");
    AppError::Conflict { code: "ID_REUSED", detail }
}
