//! The stock ledger. Rows are only ever added.

use chrono::{DateTime, Utc};
use domain::{
    ids::{CountId, DeliveryId, EventId, JointId, MovementId, ProjectId, UserId},
    stock::{MovementKind, NewMovement, Quantity, Shortage},
};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use sqlx::{PgConnection, postgres::PgDatabaseError};
use uuid::Uuid;

use crate::{StoreError, error::database};

/// A movement as it is stored.
#[derive(Debug, Clone, PartialEq)]
pub struct StoredMovement {
    /// What moved.
    pub movement: NewMovement,
    /// Its place in the order of recording.
    pub seq: i64,
    /// When it was recorded.
    pub recorded_at: DateTime<Utc>,
    /// By whom; none if by the server.
    pub recorded_by: Option<UserId>,
    /// What was sent.
    pub asked: Option<Value>,
}

/// Who records, when, and what was asked for.
#[derive(Debug, Clone, Copy)]
pub struct Recording<'a> {
    /// Who; none if the server itself.
    pub by: Option<UserId>,
    /// When.
    pub at: DateTime<Utc>,
    /// Id of the request and what it said; the movements of the server are requests of their own.
    pub asked: Option<(Uuid, &'a Value)>,
}

/// A movement as the statement reads it.
#[derive(Serialize)]
struct Row<'a> {
    id: Uuid,
    kind: &'static str,
    lot: &'a str,
    quantity: Decimal,
    from_location: &'a str,
    to_location: &'a str,
    joint_id: Option<Uuid>,
    fact_id: Option<Uuid>,
    delivery_id: Option<Uuid>,
    count_id: Option<Uuid>,
    reverses: Option<Uuid>,
    reason: Option<&'a str>,
    chosen_against_order: bool,
    occurred_at: DateTime<Utc>,
    ask_id: Uuid,
}

/// Adds movements; the balances follow in the same statement.
pub async fn append(
    conn: &mut PgConnection,
    project: ProjectId,
    recording: Recording<'_>,
    movements: &[NewMovement],
) -> Result<Vec<StoredMovement>, StoreError> {
    let rows: Vec<Row<'_>> = movements
        .iter()
        .map(|it| Row {
            id: it.id.0,
            kind: it.kind.name(),
            lot: &it.lot,
            quantity: it.quantity.value(),
            from_location: &it.from,
            to_location: &it.to,
            joint_id: it.joint.map(|it| it.0),
            fact_id: it.fact.map(|it| it.0),
            delivery_id: it.delivery.map(|it| it.0),
            count_id: it.count.map(|it| it.0),
            reverses: it.reverses.map(|it| it.0),
            reason: it.reason.as_deref(),
            chosen_against_order: it.chosen_against_order,
            occurred_at: it.occurred_at,
            ask_id: recording.asked.map_or(it.id.0, |(id, _)| id),
        })
        .collect();
    let rows = serde_json::to_value(&rows)
        .map_err(|error| StoreError::inconsistent("stock_movements", project, error))?;
    let asked = recording.asked.map(|(_, asked)| asked.clone());
    let added = sqlx::query!(
        r#"INSERT INTO stock_movements (
                project_id, id, kind, lot, quantity, from_location, to_location, joint_id,
                fact_id, delivery_id, count_id, reverses, reason, chosen_against_order,
                occurred_at, recorded_at, recorded_by, ask_id, asked)
           SELECT $1, m.id, m.kind, m.lot, m.quantity, m.from_location, m.to_location, m.joint_id,
                  m.fact_id, m.delivery_id, m.count_id, m.reverses, m.reason,
                  m.chosen_against_order, m.occurred_at, $3, $4, m.ask_id, $5
             FROM ROWS FROM (jsonb_to_recordset($2) AS (
                      id uuid, kind text, lot text, quantity numeric, from_location text,
                      to_location text, joint_id uuid, fact_id uuid, delivery_id uuid,
                      count_id uuid, reverses uuid, reason text, chosen_against_order boolean,
                      occurred_at timestamptz, ask_id uuid)) WITH ORDINALITY AS m
            ORDER BY m.ordinality
           RETURNING id, seq"#,
        project.0,
        rows,
        recording.at,
        recording.by.map(|it| it.0),
        asked,
    )
    .fetch_all(conn)
    .await
    .map_err(database("record movements of stock"))?;
    let stored = movements.iter().map(|movement| {
        let row = added.iter().find(|row| row.id == movement.id.0);
        let row = row.ok_or_else(|| {
            StoreError::inconsistent("stock_movements", movement.id, "it was not stored")
        })?;
        Ok(StoredMovement {
            movement: movement.clone(),
            seq: row.seq,
            recorded_at: recording.at,
            recorded_by: recording.by,
            asked: asked.clone(),
        })
    });
    stored.collect()
}

/// What the database's own check said is missing, where it refused [`append`] for that.
pub fn shortage_in(error: &StoreError) -> Option<Shortage> {
    #[derive(Deserialize)]
    struct Said {
        location: String,
        lot: String,
        left: Decimal,
        wanted: Decimal,
    }
    if error.constraint() != Some("stock_balances_quantity_check") {
        return None;
    }
    let StoreError::Database { source: sqlx::Error::Database(error), .. } = error else {
        return None;
    };
    let error = error.try_downcast_ref::<PgDatabaseError>()?;
    let Said { location, lot, left, wanted } = serde_json::from_str(error.detail()?).ok()?;
    Some(Shortage { location, lot, wanted, left })
}

/// Which movements.
#[derive(Debug, Clone, Default)]
pub struct Filter {
    /// From or to this place.
    pub location: Option<String>,
    /// Of these lots.
    pub lots: Option<Vec<String>>,
    /// Of this kind.
    pub kind: Option<MovementKind>,
    /// Onto this joint.
    pub joint: Option<JointId>,
    /// With this delivery.
    pub delivery: Option<DeliveryId>,
    /// Recorded before that one.
    pub before: Option<i64>,
}

struct Found {
    id: Uuid,
    seq: i64,
    kind: String,
    lot: String,
    quantity: Decimal,
    from_location: String,
    to_location: String,
    joint_id: Option<Uuid>,
    fact_id: Option<Uuid>,
    delivery_id: Option<Uuid>,
    count_id: Option<Uuid>,
    reverses: Option<Uuid>,
    reason: Option<String>,
    chosen_against_order: bool,
    occurred_at: DateTime<Utc>,
    recorded_at: DateTime<Utc>,
    recorded_by: Option<Uuid>,
    asked: Option<Value>,
}

impl TryFrom<Found> for StoredMovement {
    type Error = StoreError;

    fn try_from(row: Found) -> Result<Self, StoreError> {
        let wrong = |detail: String| StoreError::inconsistent("stock_movements", row.id, detail);
        let kind = MovementKind::parse(&row.kind).ok_or_else(|| wrong(row.kind.clone()))?;
        let quantity = Quantity::new(row.quantity).map_err(|error| wrong(error.to_string()))?;
        let movement = NewMovement {
            id: MovementId(row.id),
            kind,
            lot: row.lot,
            quantity,
            from: row.from_location,
            to: row.to_location,
            joint: row.joint_id.map(JointId),
            fact: row.fact_id.map(EventId),
            delivery: row.delivery_id.map(DeliveryId),
            count: row.count_id.map(CountId),
            reverses: row.reverses.map(MovementId),
            reason: row.reason,
            chosen_against_order: row.chosen_against_order,
            occurred_at: row.occurred_at,
        };
        let recorded_by = row.recorded_by.map(UserId);
        let (seq, recorded_at, asked) = (row.seq, row.recorded_at, row.asked);
        Ok(Self { movement, seq, recorded_at, recorded_by, asked })
    }
}

/// Movements, the newest recorded first.
pub async fn list(
    conn: &mut PgConnection,
    project: ProjectId,
    filter: &Filter,
    limit: i64,
) -> Result<Vec<StoredMovement>, StoreError> {
    let found = sqlx::query_as!(
        Found,
        "SELECT id, seq, kind, lot, quantity, from_location, to_location, joint_id, fact_id,
                delivery_id, count_id, reverses, reason, chosen_against_order, occurred_at,
                recorded_at, recorded_by, asked
           FROM stock_movements
          WHERE project_id = $1
            AND ($2::text IS NULL OR $2 IN (from_location, to_location))
            AND ($3::text[] IS NULL OR lot = ANY ($3))
            AND ($4::text IS NULL OR kind = $4)
            AND ($5::uuid IS NULL OR joint_id = $5)
            AND ($6::uuid IS NULL OR delivery_id = $6)
            AND ($7::bigint IS NULL OR seq < $7)
          ORDER BY seq DESC LIMIT $8",
        project.0,
        filter.location,
        filter.lots.as_deref(),
        filter.kind.map(MovementKind::name),
        filter.joint.map(|it| it.0),
        filter.delivery.map(|it| it.0),
        filter.before,
        limit,
    )
    .fetch_all(conn)
    .await
    .map_err(database("list movements of stock"))?;
    found.into_iter().map(StoredMovement::try_from).collect()
}

/// The movements that the request `id` recorded, in order.
pub async fn of_ask(
    conn: &mut PgConnection,
    project: ProjectId,
    id: Uuid,
) -> Result<Vec<StoredMovement>, StoreError> {
    let found = sqlx::query_as!(
        Found,
        "SELECT id, seq, kind, lot, quantity, from_location, to_location, joint_id, fact_id,
                delivery_id, count_id, reverses, reason, chosen_against_order, occurred_at,
                recorded_at, recorded_by, asked
           FROM stock_movements WHERE project_id = $1 AND (ask_id = $2 OR id = $2) ORDER BY seq",
        project.0,
        id,
    )
    .fetch_all(conn)
    .await
    .map_err(database("find the movements of a request"))?;
    found.into_iter().map(StoredMovement::try_from).collect()
}

/// Finds a movement.
pub async fn find(
    conn: &mut PgConnection,
    project: ProjectId,
    id: MovementId,
) -> Result<Option<StoredMovement>, StoreError> {
    let found = sqlx::query_as!(
        Found,
        "SELECT id, seq, kind, lot, quantity, from_location, to_location, joint_id, fact_id,
                delivery_id, count_id, reverses, reason, chosen_against_order, occurred_at,
                recorded_at, recorded_by, asked
           FROM stock_movements WHERE project_id = $1 AND id = $2",
        project.0,
        id.0,
    )
    .fetch_optional(conn)
    .await
    .map_err(database("find a movement of stock"))?;
    found.map(StoredMovement::try_from).transpose()
}

/// Whether a movement was reversed.
pub async fn is_reversed(
    conn: &mut PgConnection,
    project: ProjectId,
    id: MovementId,
) -> Result<bool, StoreError> {
    sqlx::query_scalar!(
        r#"SELECT EXISTS (SELECT FROM stock_movements WHERE project_id = $1 AND reverses = $2)
           AS "reversed!""#,
        project.0,
        id.0,
    )
    .fetch_one(conn)
    .await
    .map_err(database("look for the reversal of a movement"))
}
