//! The outlooks of the weather, as they were issued.

use chrono::{DateTime, Utc};
use domain::{
    ambient::{
        Hour, NewOutlook,
        outlook::{HOUR, MOST_AHEAD},
    },
    ids::{ProjectId, UserId},
};
use sqlx::{PgConnection, types::Json};
use uuid::Uuid;

use crate::{StoreError, error::database};

/// An outlook without its hours.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Issue {
    /// Made by the client.
    pub id: Uuid,
    /// Spread.
    pub spread: String,
    /// When it was issued.
    pub issued_at: DateTime<Utc>,
    /// Who issued it.
    pub source: Option<String>,
    /// Its first hour.
    pub first_at: DateTime<Utc>,
    /// Its last hour.
    pub last_at: DateTime<Utc>,
    /// When it arrived.
    pub recorded_at: DateTime<Utc>,
    /// Who was signed in.
    pub recorded_by: Uuid,
}

/// Adds an outlook; false where its id is taken.
pub async fn append(
    conn: &mut PgConnection,
    project: ProjectId,
    (by, at): (UserId, DateTime<Utc>),
    outlook: &NewOutlook,
) -> Result<bool, StoreError> {
    let (Some(first), Some(last)) = (outlook.hours.first(), outlook.hours.last()) else {
        return Err(StoreError::inconsistent("ambient_outlooks", outlook.id, "without hours"));
    };
    let added = sqlx::query!(
        "INSERT INTO ambient_outlooks (
            project_id, id, spread, issued_at, first_at, last_at, source, hours, recorded_at,
            recorded_by)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)
         ON CONFLICT (project_id, id) DO NOTHING",
        project.0,
        outlook.id,
        outlook.spread,
        outlook.issued_at,
        first.at,
        last.at,
        outlook.source,
        Json(&outlook.hours) as _,
        at,
        by.0,
    )
    .execute(conn)
    .await
    .map_err(database("record an outlook of the weather"))?;
    Ok(added.rows_affected() == 1)
}

/// The outlook of that id, without its hours.
pub async fn find(
    conn: &mut PgConnection,
    project: ProjectId,
    id: Uuid,
) -> Result<Option<Issue>, StoreError> {
    sqlx::query_as!(
        Issue,
        "SELECT id, spread, issued_at, source, first_at, last_at, recorded_at, recorded_by
           FROM ambient_outlooks WHERE project_id = $1 AND id = $2",
        project.0,
        id,
    )
    .fetch_optional(conn)
    .await
    .map_err(database("find an outlook of the weather"))
}

/// The hours of these outlooks, each with its id, in no order.
pub async fn hours(
    conn: &mut PgConnection,
    project: ProjectId,
    ids: &[Uuid],
) -> Result<Vec<(Uuid, Vec<Hour>)>, StoreError> {
    let rows = sqlx::query!(
        r#"SELECT id, hours AS "hours: Json<Vec<Hour>>"
             FROM ambient_outlooks WHERE project_id = $1 AND id = ANY ($2)"#,
        project.0,
        ids,
    )
    .fetch_all(conn)
    .await
    .map_err(database("read the hours of outlooks"))?;
    Ok(rows.into_iter().map(|row| (row.id, row.hours.0)).collect())
}

/// Outlooks without their hours, the latest issue first: those of `spread`, or of all, after the
/// issue `after` in that order.
pub async fn list(
    conn: &mut PgConnection,
    project: ProjectId,
    spreads: &[String],
    after: Option<(DateTime<Utc>, Uuid)>,
    limit: i64,
) -> Result<Vec<Issue>, StoreError> {
    sqlx::query_as!(
        Issue,
        r#"SELECT o.id AS "id!", o.spread AS "spread!", o.issued_at AS "issued_at!", o.source,
                  o.first_at AS "first_at!", o.last_at AS "last_at!",
                  o.recorded_at AS "recorded_at!", o.recorded_by AS "recorded_by!"
             FROM unnest($2::text[]) AS s (code) CROSS JOIN LATERAL (
                 SELECT e.id, e.spread, e.issued_at, e.source, e.first_at, e.last_at,
                        e.recorded_at, e.recorded_by
                   FROM ambient_outlooks e
                  WHERE e.project_id = $1 AND e.spread = s.code
                    AND (e.issued_at, e.id) <
                        (coalesce($3, 'infinity'::timestamptz),
                         coalesce($4, 'ffffffff-ffff-ffff-ffff-ffffffffffff'::uuid))
                  ORDER BY e.issued_at DESC, e.id DESC LIMIT $5) AS o
            ORDER BY o.issued_at DESC, o.id DESC LIMIT $5"#,
        project.0,
        spreads,
        after.map(|(at, _)| at),
        after.map(|(_, id)| id),
        limit,
    )
    .fetch_all(conn)
    .await
    .map_err(database("list outlooks of the weather"))
}

/// Every outlook of `spreads` whose hours reach into `from`..`to`, without its hours, the latest
/// issue first.
pub async fn reaching(
    conn: &mut PgConnection,
    project: ProjectId,
    spreads: &[String],
    (from, to): (DateTime<Utc>, DateTime<Utc>),
) -> Result<Vec<Issue>, StoreError> {
    sqlx::query_as!(
        Issue,
        "SELECT id, spread, issued_at, source, first_at, last_at, recorded_at, recorded_by
           FROM ambient_outlooks
          WHERE project_id = $1 AND spread = ANY ($2) AND issued_at >= $5
            AND last_at > $3 AND first_at < $4
          ORDER BY issued_at DESC, id DESC",
        project.0,
        spreads,
        // An issue also speaks for what begins less than an hour from its own.
        from - HOUR,
        to + HOUR,
        // None looks further ahead than that.
        from - MOST_AHEAD,
    )
    .fetch_all(conn)
    .await
    .map_err(database("look for outlooks of the weather"))
}
