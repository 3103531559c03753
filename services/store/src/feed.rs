//! What has changed in a project, in one sequence without holes.
//!
//! Whoever writes notes what it means in the same transaction: by [`note`], or inside the very
//! statement that writes. Whoever reads first has numbers given to all that is committed, by
//! [`number`]; so writers do not wait for each other, entries become visible in their order, and
//! what is rolled back, be it a savepoint, leaves no trace (see
//! `migrations/…_number_the_feed_when_it_is_read.sql`).

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use domain::ids::ProjectId;
use serde_json::Value;
use sqlx::PgConnection;

use crate::{StoreError, error::database};

/// One entry.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// Its number: one more than that of the entry before.
    pub seq: i64,
    /// What happened, such as `joint.changed`.
    pub topic: String,
    /// What it is about, such as the number of a joint.
    pub subject: String,
    /// What is told of it.
    pub body: Value,
    /// When.
    pub at: DateTime<Utc>,
}

/// Notes that something happened; it gets its number by [`number`] once the transaction is
/// committed.
///
/// `topic` is a noun and a past participle with a point between them, `subject` is what readers
/// filter by, `body` an object: thin, since it also leaves the server.
pub async fn note(
    conn: &mut PgConnection,
    project: ProjectId,
    (topic, subject): (&str, &str),
    body: &Value,
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO feed_pending (project_id, topic, subject, body, at)
         VALUES ($1, $2, $3, $4, $5)",
        project.0,
        topic,
        subject,
        body,
        at,
    )
    .execute(conn)
    .await
    .map_err(database("note a change"))?;
    Ok(())
}

/// Gives numbers to all that is committed in `projects`. To be called before each reading, on a
/// connection without a transaction: a number may be read only once it is committed.
pub async fn number(conn: &mut PgConnection, projects: &[ProjectId]) -> Result<(), StoreError> {
    let ids: Vec<uuid::Uuid> = projects.iter().map(|it| it.0).collect();
    // In one order everywhere, so that no two can wait for each other.
    sqlx::query!(
        r#"SELECT number_feed(id)
             FROM (SELECT id FROM unnest($1::uuid[]) AS id ORDER BY id) AS project"#,
        &ids,
    )
    .execute(conn)
    .await
    .map_err(database("number the feed"))?;
    Ok(())
}

/// Gives numbers to all that is committed in any project; for the worker. As [`number`], on a
/// connection without a transaction.
pub async fn number_all(conn: &mut PgConnection) -> Result<(), StoreError> {
    let pending = sqlx::query_scalar!("SELECT DISTINCT project_id FROM feed_pending")
        .fetch_all(&mut *conn)
        .await
        .map_err(database("look for entries without a number"))?;
    let projects: Vec<ProjectId> = pending.into_iter().map(ProjectId).collect();
    if projects.is_empty() { Ok(()) } else { number(conn, &projects).await }
}

/// Which entries there are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Kept {
    /// The number of the oldest one; where there is none, the one that comes next.
    pub oldest: i64,
    /// The number of the newest one; 0 in a project in which nothing has ever happened.
    pub head: i64,
}

/// Which entries of a project there are.
pub async fn kept(conn: &mut PgConnection, project: ProjectId) -> Result<Kept, StoreError> {
    sqlx::query_as!(
        Kept,
        r#"SELECT coalesce((SELECT min(seq) FROM feed WHERE project_id = $1), h.seq + 1)
                      AS "oldest!",
                  h.seq AS "head!"
             FROM (SELECT coalesce((SELECT seq FROM feed_heads WHERE project_id = $1), 0) AS seq) h"#,
        project.0,
    )
    .fetch_one(conn)
    .await
    .map_err(database("look at the feed"))
}

/// The entries of a project after number `after`, in order.
pub async fn after(
    conn: &mut PgConnection,
    project: ProjectId,
    after: i64,
    limit: i64,
) -> Result<Vec<Entry>, StoreError> {
    sqlx::query_as!(
        Entry,
        "SELECT seq, topic, subject, body, at FROM feed
          WHERE project_id = $1 AND seq > $2 ORDER BY seq LIMIT $3",
        project.0,
        after,
        limit,
    )
    .fetch_all(conn)
    .await
    .map_err(database("read the feed"))
}

/// The newest number of each of these projects; no transaction has to name one of them.
pub async fn heads(
    conn: &mut PgConnection,
    projects: &[ProjectId],
) -> Result<BTreeMap<ProjectId, i64>, StoreError> {
    let ids: Vec<uuid::Uuid> = projects.iter().map(|it| it.0).collect();
    let rows =
        sqlx::query!("SELECT project_id, seq FROM feed_heads WHERE project_id = ANY ($1)", &ids,)
            .fetch_all(conn)
            .await
            .map_err(database("look for what is new"))?;
    Ok(rows.into_iter().map(|row| (ProjectId(row.project_id), row.seq)).collect())
}

/// Forgets the entries of a project that are older than `before`; returns how many.
///
/// From the oldest on: where a clock went back, an old entry between young ones stays, since the
/// sequence has no holes.
pub async fn prune(
    conn: &mut PgConnection,
    project: ProjectId,
    before: DateTime<Utc>,
) -> Result<u64, StoreError> {
    let done = sqlx::query!(
        "DELETE FROM feed
          WHERE project_id = $1
            AND seq < coalesce((SELECT min(seq) FROM feed WHERE project_id = $1 AND at >= $2),
                               (SELECT max(seq) + 1 FROM feed WHERE project_id = $1))",
        project.0,
        before,
    )
    .execute(conn)
    .await
    .map_err(database("forget old entries of the feed"))?;
    Ok(done.rows_affected())
}
