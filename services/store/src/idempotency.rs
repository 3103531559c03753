//! Requests that were answered, by the key that their sender gave them.

use chrono::{DateTime, Utc};
use domain::ids::{ProjectId, UserId};
use sqlx::PgConnection;

use crate::{StoreError, error::database};

/// Whose key, and which.
#[derive(Debug, Clone, Copy)]
pub struct KeyOf<'a> {
    /// The project, or nil outside of any.
    pub project: ProjectId,
    /// Who sent it.
    pub user: UserId,
    /// The key.
    pub key: &'a str,
}

/// A request and its answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answered {
    /// SHA-256 of the method, the path and the body.
    pub fingerprint: Vec<u8>,
    /// HTTP status of the answer.
    pub status: i32,
    /// Media type of the answer.
    pub content_type: Option<String>,
    /// Where what was made can be read.
    pub location: Option<String>,
    /// Entity tag of the answer.
    pub etag: Option<String>,
    /// The answer, byte by byte.
    pub body: Vec<u8>,
}

/// Keeps an answer; false if the key is taken. Waits for whoever is using the same key.
pub async fn insert(
    conn: &mut PgConnection,
    of: KeyOf<'_>,
    answered: &Answered,
    now: DateTime<Utc>,
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "
        INSERT INTO idempotency_keys
            (project_id, user_id, key, fingerprint, status, content_type, location, etag, body,
             answered_at)
        VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)
        ON CONFLICT (project_id, user_id, key) DO NOTHING
        ",
        of.project.0,
        of.user.0,
        of.key,
        answered.fingerprint,
        answered.status,
        answered.content_type,
        answered.location,
        answered.etag,
        answered.body,
        now
    )
    .execute(conn)
    .await
    .map_err(database("keep an answer"))?;
    Ok(done.rows_affected() == 1)
}

/// The answer that was given under a key.
pub async fn find(conn: &mut PgConnection, of: KeyOf<'_>) -> Result<Option<Answered>, StoreError> {
    sqlx::query_as!(
        Answered,
        "
        SELECT fingerprint, status, content_type, location, etag, body
        FROM idempotency_keys
        WHERE project_id = $1 AND user_id = $2 AND key = $3
        ",
        of.project.0,
        of.user.0,
        of.key
    )
    .fetch_optional(conn)
    .await
    .map_err(database("find an answer"))
}

/// Forgets answers given before `before`, in all projects; returns how many.
pub async fn prune(conn: &mut PgConnection, before: DateTime<Utc>) -> Result<u64, StoreError> {
    let done = sqlx::query!("DELETE FROM idempotency_keys WHERE answered_at < $1", before)
        .execute(conn)
        .await
        .map_err(database("forget answers"))?;
    Ok(done.rows_affected())
}
