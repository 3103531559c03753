//! Deliveries: what is expected, and how much of it has come.

use chrono::{DateTime, NaiveDate, Utc};
use domain::ids::{DeliveryId, ProjectId, UserId};
use rust_decimal::Decimal;
use sqlx::PgConnection;

use crate::{StoreError, error::database};

/// A delivery as it is stored.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredDelivery {
    /// Id.
    pub id: DeliveryId,
    /// Code of the material.
    pub material: String,
    /// How much is to come, base units.
    pub quantity: Decimal,
    /// The day it is expected.
    pub expected_on: NaiveDate,
    /// The day it was ordered.
    pub ordered_on: Option<NaiveDate>,
    /// From whom.
    pub supplier: Option<String>,
    /// `expected`, `received` or `cancelled`.
    pub status: String,
    /// How much has come, base units.
    pub received_quantity: Decimal,
    /// Counts its changes.
    pub version: i64,
}

/// Adds a delivery; `deliveries_key` refuses one that is there.
pub async fn insert(
    conn: &mut PgConnection,
    project: ProjectId,
    delivery: &StoredDelivery,
    (by, at): (UserId, DateTime<Utc>),
) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO deliveries (project_id, id, material, quantity, expected_on, ordered_on,
                                 supplier, status, received_quantity, version, created_by,
                                 created_at, changed_by, changed_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $11, $12)",
        project.0,
        delivery.id.0,
        delivery.material,
        delivery.quantity,
        delivery.expected_on,
        delivery.ordered_on,
        delivery.supplier,
        delivery.status,
        delivery.received_quantity,
        delivery.version,
        by.0,
        at,
    )
    .execute(conn)
    .await
    .map_err(database("insert a delivery"))?;
    Ok(())
}

/// Puts `delivery` in the place of the version before it; false if that is not the version there.
pub async fn update(
    conn: &mut PgConnection,
    project: ProjectId,
    delivery: &StoredDelivery,
    (by, at): (UserId, DateTime<Utc>),
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "UPDATE deliveries
            SET material = $3, quantity = $4, expected_on = $5, ordered_on = $6, supplier = $7,
                status = $8, received_quantity = $9, version = $10, changed_by = $11,
                changed_at = $12
          WHERE project_id = $1 AND id = $2 AND version + 1 = $10",
        project.0,
        delivery.id.0,
        delivery.material,
        delivery.quantity,
        delivery.expected_on,
        delivery.ordered_on,
        delivery.supplier,
        delivery.status,
        delivery.received_quantity,
        delivery.version,
        by.0,
        at,
    )
    .execute(conn)
    .await
    .map_err(database("update a delivery"))?;
    Ok(done.rows_affected() == 1)
}

/// Locks deliveries in the order of their ids, before any balance.
pub async fn lock(
    conn: &mut PgConnection,
    project: ProjectId,
    ids: &[DeliveryId],
) -> Result<Vec<StoredDelivery>, StoreError> {
    let ids: Vec<uuid::Uuid> = ids.iter().map(|it| it.0).collect();
    sqlx::query_as!(
        StoredDelivery,
        "SELECT id, material, quantity, expected_on, ordered_on, supplier, status,
                received_quantity, version
           FROM deliveries WHERE project_id = $1 AND id = ANY ($2) ORDER BY id FOR UPDATE",
        project.0,
        &ids,
    )
    .fetch_all(conn)
    .await
    .map_err(database("lock deliveries"))
}

/// Deliveries by the day they are expected, those after `after`.
pub async fn list(
    conn: &mut PgConnection,
    project: ProjectId,
    (material, status): (Option<&str>, Option<&str>),
    after: Option<(NaiveDate, DeliveryId)>,
    limit: i64,
) -> Result<Vec<StoredDelivery>, StoreError> {
    sqlx::query_as!(
        StoredDelivery,
        "SELECT id, material, quantity, expected_on, ordered_on, supplier, status,
                received_quantity, version
           FROM deliveries
          WHERE project_id = $1
            AND ($2::text IS NULL OR material = $2)
            AND ($3::text IS NULL OR status = $3)
            AND ($4::date IS NULL OR (expected_on, id) > ($4, $5::uuid))
          ORDER BY expected_on, id LIMIT $6",
        project.0,
        material,
        status,
        after.map(|(day, _)| day),
        after.map(|(_, id)| id.0),
        limit,
    )
    .fetch_all(conn)
    .await
    .map_err(database("list deliveries"))
}
