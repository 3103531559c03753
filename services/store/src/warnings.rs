//! Warnings: one open per kind and subject.

use chrono::{DateTime, Utc};
use domain::ids::ProjectId;
use sqlx::PgConnection;
use uuid::Uuid;

use crate::{StoreError, error::database};

/// A warning to raise or to bring up to date.
pub struct Raised<'a> {
    /// Id, if it is a new one.
    pub id: Uuid,
    /// Kind.
    pub kind: &'a str,
    /// What it is about.
    pub subject: &'a str,
    /// `notice` or `urgent`.
    pub severity: &'a str,
    /// What is the matter.
    pub detail: &'a str,
}

/// Raises a warning, or brings the open one of that kind and subject up to date.
pub async fn raise(
    conn: &mut PgConnection,
    project: ProjectId,
    warning: &Raised<'_>,
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO warnings (project_id, id, kind, subject, severity, detail, raised_at,
                               updated_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $7)
             ON CONFLICT (project_id, kind, subject) WHERE cleared_at IS NULL
             DO UPDATE SET severity = excluded.severity, detail = excluded.detail,
                           updated_at = excluded.updated_at",
        project.0,
        warning.id,
        warning.kind,
        warning.subject,
        warning.severity,
        warning.detail,
        at,
    )
    .execute(conn)
    .await
    .map_err(database("raise a warning"))?;
    Ok(())
}

/// Clears the open warnings of a kind whose subject is not among `still`.
pub async fn clear_others(
    conn: &mut PgConnection,
    project: ProjectId,
    kind: &str,
    still: &[String],
    at: DateTime<Utc>,
) -> Result<u64, StoreError> {
    let done = sqlx::query!(
        "UPDATE warnings SET cleared_at = $4, updated_at = $4
          WHERE project_id = $1 AND kind = $2 AND cleared_at IS NULL AND subject <> ALL ($3)",
        project.0,
        kind,
        still,
        at,
    )
    .execute(conn)
    .await
    .map_err(database("clear warnings"))?;
    Ok(done.rows_affected())
}

/// Clears the open warning of that kind and subject.
pub async fn clear(
    conn: &mut PgConnection,
    project: ProjectId,
    kind: &str,
    subject: &str,
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "UPDATE warnings SET cleared_at = $4, updated_at = $4
          WHERE project_id = $1 AND kind = $2 AND subject = $3 AND cleared_at IS NULL",
        project.0,
        kind,
        subject,
        at,
    )
    .execute(conn)
    .await
    .map_err(database("clear a warning"))?;
    Ok(())
}

/// A warning as it is shown.
#[derive(Debug, Clone)]
pub struct ShownWarning {
    /// Id.
    pub id: Uuid,
    /// Kind.
    pub kind: String,
    /// What it is about.
    pub subject: String,
    /// `notice` or `urgent`.
    pub severity: String,
    /// What is the matter.
    pub detail: String,
    /// When.
    pub raised_at: DateTime<Utc>,
    /// When last.
    pub updated_at: DateTime<Utc>,
    /// When it ended.
    pub cleared_at: Option<DateTime<Utc>>,
}

/// Open warnings, newest first.
pub async fn list(
    conn: &mut PgConnection,
    project: ProjectId,
    limit: i64,
) -> Result<Vec<ShownWarning>, StoreError> {
    sqlx::query_as!(
        ShownWarning,
        "SELECT id, kind, subject, severity, detail, raised_at, updated_at, cleared_at
           FROM warnings WHERE project_id = $1 AND cleared_at IS NULL
          ORDER BY raised_at DESC, id DESC LIMIT $2",
        project.0,
        limit,
    )
    .fetch_all(conn)
    .await
    .map_err(database("list warnings"))
}
