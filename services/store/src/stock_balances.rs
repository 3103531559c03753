//! What the places hold. Written by the trigger of the movements alone.

use chrono::{DateTime, Utc};
use domain::{ids::ProjectId, stock::Balances};
use rust_decimal::Decimal;
use sqlx::PgConnection;

use crate::{StoreError, error::database};

/// What one place holds of one lot.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Balance {
    /// Code of the place.
    pub location: String,
    /// Code of the lot.
    pub lot: String,
    /// How much, base units.
    pub quantity: Decimal,
}

/// Locks the balances of pairs of location and lot in that order, and reads them. A pair without
/// a balance holds nothing and is left out.
///
/// The project is the one that the transaction has named.
pub async fn lock(
    conn: &mut PgConnection,
    pairs: impl IntoIterator<Item = (String, String)>,
) -> Result<Balances, StoreError> {
    let (locations, lots): (Vec<String>, Vec<String>) = pairs.into_iter().unzip();
    let rows = sqlx::query!(
        r#"SELECT location AS "location!", lot AS "lot!", quantity AS "quantity!"
             FROM lock_stock_balances($1, $2)"#,
        &locations,
        &lots,
    )
    .fetch_all(conn)
    .await
    .map_err(database("lock balances of stock"))?;
    Ok(rows.into_iter().map(|row| ((row.location, row.lot), row.quantity)).collect())
}

/// What is there, by location and lot. Places that hold nothing are left out, and so are those
/// that are not physical unless `location` names one.
pub async fn list(
    conn: &mut PgConnection,
    project: ProjectId,
    location: Option<&str>,
    lots: Option<&[String]>,
) -> Result<Vec<Balance>, StoreError> {
    sqlx::query_as!(
        Balance,
        "SELECT location, lot, quantity FROM stock_balances
          WHERE project_id = $1 AND quantity <> 0
            AND CASE WHEN $2::text IS NULL THEN physical ELSE location = $2 END
            AND ($3::text[] IS NULL OR lot = ANY ($3))
          ORDER BY location, lot",
        project.0,
        location,
        lots,
    )
    .fetch_all(conn)
    .await
    .map_err(database("list balances of stock"))
}

/// When each of `lots` was first received.
pub async fn first_receipts(
    conn: &mut PgConnection,
    project: ProjectId,
    lots: &[String],
) -> Result<Vec<(String, DateTime<Utc>)>, StoreError> {
    let rows = sqlx::query!(
        r#"SELECT lot, min(occurred_at) AS "first_at!" FROM stock_movements
            WHERE project_id = $1 AND lot = ANY ($2) AND kind = 'receive'
            GROUP BY lot"#,
        project.0,
        lots,
    )
    .fetch_all(conn)
    .await
    .map_err(database("read the first receipts of lots"))?;
    Ok(rows.into_iter().map(|row| (row.lot, row.first_at)).collect())
}

/// What has been added to each of `lots` at `location`, less what was taken, by movements that
/// happened after `at`.
pub async fn changes_since(
    conn: &mut PgConnection,
    project: ProjectId,
    location: &str,
    lots: &[String],
    at: DateTime<Utc>,
) -> Result<Vec<(String, Decimal)>, StoreError> {
    let rows = sqlx::query!(
        r#"SELECT lot, sum(CASE WHEN to_location = $2 THEN quantity ELSE -quantity END)
                  AS "change!"
             FROM stock_movements
            WHERE project_id = $1 AND lot = ANY ($3) AND occurred_at > $4
              AND $2 IN (from_location, to_location)
            GROUP BY lot"#,
        project.0,
        location,
        lots,
        at,
    )
    .fetch_all(conn)
    .await
    .map_err(database("add up what has moved since"))?;
    Ok(rows.into_iter().map(|row| (row.lot, row.change)).collect())
}
