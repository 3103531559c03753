//! Copies of projects that were asked for, and the parts of their archives.

use chrono::{DateTime, Utc};
use domain::ids::{ProjectId, UserId};
use sqlx::PgConnection;
use uuid::Uuid;

use crate::{StoreError, error::database};

/// A copy and how far it has come.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Export {
    /// Id.
    pub id: Uuid,
    /// waiting, running, done, failed or expired.
    pub status: String,
    /// Records written so far.
    pub rows_done: i64,
    /// Size of the archive.
    pub bytes: i64,
    /// Hash of the archive.
    pub sha256: Option<Vec<u8>>,
    /// Why it failed.
    pub failure: Option<String>,
    /// When it was asked for.
    pub created_at: DateTime<Utc>,
    /// By whom.
    pub created_by: UserId,
    /// When its job ended.
    pub finished_at: Option<DateTime<Utc>>,
}

/// Opens an export.
pub async fn insert(
    conn: &mut PgConnection,
    project: ProjectId,
    id: Uuid,
    by: UserId,
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO exports (project_id, id, status, created_at, created_by)
         VALUES ($1, $2, 'waiting', $3, $4)",
        project.0,
        id,
        at,
        by.0,
    )
    .execute(conn)
    .await
    .map_err(database("open an export"))?;
    Ok(())
}

/// Whether one of the project that was asked for after `since` waits or runs.
pub async fn is_under_way(
    conn: &mut PgConnection,
    project: ProjectId,
    since: DateTime<Utc>,
) -> Result<bool, StoreError> {
    sqlx::query_scalar!(
        r#"SELECT EXISTS (SELECT FROM exports
                           WHERE project_id = $1 AND created_at > $2
                             AND status IN ('waiting', 'running')) AS "it!""#,
        project.0,
        since,
    )
    .fetch_one(conn)
    .await
    .map_err(database("look for an export under way"))
}

/// Finds an export.
pub async fn find(
    conn: &mut PgConnection,
    project: ProjectId,
    id: Uuid,
) -> Result<Option<Export>, StoreError> {
    sqlx::query_as!(
        Export,
        "SELECT id, status, rows_done, bytes, sha256, failure, created_at, created_by, finished_at
           FROM exports WHERE project_id = $1 AND id = $2",
        project.0,
        id,
    )
    .fetch_optional(conn)
    .await
    .map_err(database("find an export"))
}

/// Keeps how far an export has come that is not over.
pub async fn keep_progress(
    conn: &mut PgConnection,
    project: ProjectId,
    id: Uuid,
    rows_done: i64,
) -> Result<(), StoreError> {
    sqlx::query!(
        "UPDATE exports SET status = 'running', rows_done = $3
          WHERE project_id = $1 AND id = $2 AND status IN ('waiting', 'running')",
        project.0,
        id,
        rows_done,
    )
    .execute(conn)
    .await
    .map_err(database("keep the progress of an export"))?;
    Ok(())
}

/// Ends an export that is not over, with the size and the hash of its archive or with what went
/// wrong; whether it was still open.
pub async fn finish(
    conn: &mut PgConnection,
    project: ProjectId,
    id: Uuid,
    outcome: Result<(i64, i64, &[u8]), &str>,
    at: DateTime<Utc>,
) -> Result<bool, StoreError> {
    let (status, sums, failure) = match outcome {
        Ok(sums) => ("done", Some(sums), None),
        Err(failure) => ("failed", None, Some(failure)),
    };
    let done = sqlx::query!(
        "UPDATE exports
            SET status = $3, rows_done = coalesce($4::bigint, rows_done), bytes = coalesce($5::bigint, 0),
                sha256 = $6, failure = $7, finished_at = $8
          WHERE project_id = $1 AND id = $2 AND status IN ('waiting', 'running')",
        project.0,
        id,
        status,
        sums.map(|it| it.0),
        sums.map(|it| it.1),
        sums.map(|it| it.2),
        failure,
        at,
    )
    .execute(conn)
    .await
    .map_err(database("end an export"))?;
    Ok(done.rows_affected() == 1)
}

/// Stores a part of an archive.
pub async fn insert_part(
    conn: &mut PgConnection,
    project: ProjectId,
    export: Uuid,
    part: i32,
    bytes: &[u8],
) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO export_parts (project_id, export_id, part, bytes) VALUES ($1, $2, $3, $4)",
        project.0,
        export,
        part,
        bytes,
    )
    .execute(conn)
    .await
    .map_err(database("store a part of an export"))?;
    Ok(())
}

/// A part of an archive, counted from 0; none after the last.
pub async fn part(
    conn: &mut PgConnection,
    project: ProjectId,
    export: Uuid,
    part: i32,
) -> Result<Option<Vec<u8>>, StoreError> {
    sqlx::query_scalar!(
        "SELECT bytes FROM export_parts WHERE project_id = $1 AND export_id = $2 AND part = $3",
        project.0,
        export,
        part,
    )
    .fetch_optional(conn)
    .await
    .map_err(database("read a part of an export"))
}

/// Lets go of the archives, in all projects, that were asked for before `before`; returns how many.
/// What nobody has finished by then has failed.
pub async fn expire(conn: &mut PgConnection, before: DateTime<Utc>) -> Result<u64, StoreError> {
    let done = sqlx::query!(
        "WITH old AS (
             UPDATE exports SET status = 'expired'
              WHERE created_at < $1 AND status = 'done'
             RETURNING project_id, id
         ), given_up AS (
             UPDATE exports SET status = 'failed', failure = 'nobody finished it',
                                finished_at = now()
              WHERE created_at < $1 AND status IN ('waiting', 'running')
         ), gone AS (
             DELETE FROM export_parts p USING old o
              WHERE p.project_id = o.project_id AND p.export_id = o.id
         )
         SELECT FROM old",
        before,
    )
    .execute(conn)
    .await
    .map_err(database("let go of old exports"))?;
    Ok(done.rows_affected())
}
