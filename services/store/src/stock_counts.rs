//! Counts of stock: what was found, against the book.

use chrono::{DateTime, Utc};
use domain::ids::{CountId, ProjectId, UserId};
use rust_decimal::Decimal;
use serde::Serialize;
use serde_json::Value;
use sqlx::PgConnection;
use uuid::Uuid;

use crate::{StoreError, error::database};

/// A count as it is stored.
#[derive(Debug, Clone, PartialEq)]
pub struct StoredCount {
    /// Id.
    pub id: CountId,
    /// Code of the place.
    pub location: String,
    /// When it was counted.
    pub counted_at: DateTime<Utc>,
    /// By whom.
    pub counted_by: UserId,
    /// When it was recorded.
    pub recorded_at: DateTime<Utc>,
    /// What was sent.
    pub asked: Value,
    /// Who approved what waited.
    pub approved_by: Option<Uuid>,
    /// When.
    pub approved_at: Option<DateTime<Utc>>,
}

/// A line of a count.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct StoredLine {
    /// The count.
    pub count_id: Uuid,
    /// Code of the lot.
    pub lot: String,
    /// What was found, base units.
    pub counted: Decimal,
    /// What the book said at that moment.
    pub book: Decimal,
    /// The largest difference that was put right at once.
    pub threshold: Decimal,
    /// `matches`, `adjusted`, `waiting`, `approved` or `superseded`.
    pub status: String,
}

/// Adds a count with its lines; `stock_counts_key` refuses one that is there.
pub async fn insert(
    conn: &mut PgConnection,
    project: ProjectId,
    count: &StoredCount,
    lines: &[StoredLine],
) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO stock_counts (project_id, id, location, counted_at, counted_by, recorded_at,
                                   asked)
         VALUES ($1, $2, $3, $4, $5, $6, $7)",
        project.0,
        count.id.0,
        count.location,
        count.counted_at,
        count.counted_by.0,
        count.recorded_at,
        count.asked,
    )
    .execute(&mut *conn)
    .await
    .map_err(database("insert a count"))?;
    let lines = serde_json::to_value(lines)
        .map_err(|error| StoreError::inconsistent("stock_count_lines", count.id, error))?;
    sqlx::query!(
        "INSERT INTO stock_count_lines (project_id, count_id, location, lot, counted, book,
                                        threshold, counted_at, status)
         SELECT $1, l.count_id, $2, l.lot, l.counted, l.book, l.threshold, $3, l.status
           FROM jsonb_to_recordset($4) AS l (count_id uuid, lot text, counted numeric,
                                             book numeric, threshold numeric, status text)",
        project.0,
        count.location,
        count.counted_at,
        lines,
    )
    .execute(conn)
    .await
    .map_err(database("insert the lines of a count"))?;
    Ok(())
}

/// Those of `lots` that were counted at `location` after `at` already.
pub async fn counted_after(
    conn: &mut PgConnection,
    project: ProjectId,
    location: &str,
    lots: &[String],
    at: DateTime<Utc>,
) -> Result<Vec<String>, StoreError> {
    let rows = sqlx::query_scalar!(
        "SELECT DISTINCT lot FROM stock_count_lines
          WHERE project_id = $1 AND location = $2 AND lot = ANY ($3) AND counted_at > $4",
        project.0,
        location,
        lots,
        at,
    );
    rows.fetch_all(conn).await.map_err(database("look for later counts"))
}

/// Lets the lines that wait for lots counted at `location` before `at` be superseded.
pub async fn supersede(
    conn: &mut PgConnection,
    project: ProjectId,
    location: &str,
    lots: &[String],
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "UPDATE stock_count_lines SET status = 'superseded'
          WHERE project_id = $1 AND location = $2 AND lot = ANY ($3) AND counted_at <= $4
            AND status = 'waiting'",
        project.0,
        location,
        lots,
        at,
    )
    .execute(conn)
    .await
    .map_err(database("supersede waiting lines of counts"))?;
    Ok(())
}

/// Finds a count and locks it.
pub async fn lock(
    conn: &mut PgConnection,
    project: ProjectId,
    id: CountId,
) -> Result<Option<StoredCount>, StoreError> {
    sqlx::query_as!(
        StoredCount,
        "SELECT id, location, counted_at, counted_by, recorded_at, asked, approved_by, approved_at
           FROM stock_counts WHERE project_id = $1 AND id = $2 FOR UPDATE",
        project.0,
        id.0,
    )
    .fetch_optional(conn)
    .await
    .map_err(database("find a count"))
}

/// Approves what waits in a count.
pub async fn approve(
    conn: &mut PgConnection,
    project: ProjectId,
    id: CountId,
    (by, at): (UserId, DateTime<Utc>),
) -> Result<(), StoreError> {
    sqlx::query!(
        "UPDATE stock_counts SET approved_by = $3, approved_at = $4
          WHERE project_id = $1 AND id = $2",
        project.0,
        id.0,
        by.0,
        at,
    )
    .execute(&mut *conn)
    .await
    .map_err(database("approve a count"))?;
    sqlx::query!(
        "UPDATE stock_count_lines SET status = 'approved'
          WHERE project_id = $1 AND count_id = $2 AND status = 'waiting'",
        project.0,
        id.0,
    )
    .execute(conn)
    .await
    .map_err(database("approve the lines of a count"))?;
    Ok(())
}

/// Counts, the newest recorded first, those before `before`.
pub async fn list(
    conn: &mut PgConnection,
    project: ProjectId,
    location: Option<&str>,
    before: Option<(DateTime<Utc>, CountId)>,
    limit: i64,
) -> Result<Vec<StoredCount>, StoreError> {
    sqlx::query_as!(
        StoredCount,
        "SELECT id, location, counted_at, counted_by, recorded_at, asked, approved_by, approved_at
           FROM stock_counts
          WHERE project_id = $1 AND ($2::text IS NULL OR location = $2)
            AND ($3::timestamptz IS NULL OR (recorded_at, id) < ($3, $4::uuid))
          ORDER BY recorded_at DESC, id DESC LIMIT $5",
        project.0,
        location,
        before.map(|(at, _)| at),
        before.map(|(_, id)| id.0),
        limit,
    )
    .fetch_all(conn)
    .await
    .map_err(database("list counts"))
}

/// The lines of counts, by lot.
pub async fn lines(
    conn: &mut PgConnection,
    project: ProjectId,
    counts: &[CountId],
) -> Result<Vec<StoredLine>, StoreError> {
    let counts: Vec<Uuid> = counts.iter().map(|it| it.0).collect();
    sqlx::query_as!(
        StoredLine,
        "SELECT count_id, lot, counted, book, threshold, status FROM stock_count_lines
          WHERE project_id = $1 AND count_id = ANY ($2) ORDER BY count_id, lot",
        project.0,
        &counts,
    )
    .fetch_all(conn)
    .await
    .map_err(database("read the lines of counts"))
}
