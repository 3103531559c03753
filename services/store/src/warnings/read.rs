//! Warnings as they are shown.

use chrono::{DateTime, Utc};
use domain::ids::ProjectId;
use serde_json::Value;
use sqlx::PgConnection;
use uuid::Uuid;

use crate::{StoreError, error::database};

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
    /// The numbers behind it.
    pub values: Value,
    /// When.
    pub raised_at: DateTime<Utc>,
    /// When it changed last.
    pub updated_at: DateTime<Utc>,
    /// Since when somebody has it in hand.
    pub acknowledged_at: Option<DateTime<Utc>>,
    /// Who.
    pub acknowledged_by: Option<Uuid>,
    /// Their printed name.
    pub acknowledged_by_name: Option<String>,
    /// What they said.
    pub acknowledgement_note: Option<String>,
    /// When it ended.
    pub cleared_at: Option<DateTime<Utc>>,
}

/// Which warnings.
#[derive(Debug, Clone, Default)]
pub struct WarningFilter<'a> {
    /// Over or not.
    pub cleared: Option<bool>,
    /// In somebody's hand or not.
    pub acknowledged: Option<bool>,
    /// Of this kind.
    pub kind: Option<&'a str>,
    /// About this.
    pub subject: Option<&'a str>,
    /// Those raised before this one.
    pub before: Option<(DateTime<Utc>, Uuid)>,
    /// At most so many.
    pub limit: i64,
}

/// Warnings, newest first.
pub async fn list(
    conn: &mut PgConnection,
    project: ProjectId,
    filter: &WarningFilter<'_>,
) -> Result<Vec<ShownWarning>, StoreError> {
    let (before_at, before_id) = filter.before.unzip();
    sqlx::query_as!(
        ShownWarning,
        r#"SELECT w.id, w.kind, w.subject, w.severity, w.detail, w."values", w.raised_at,
                  w.updated_at, w.acknowledged_at, w.acknowledged_by,
                  u.name AS "acknowledged_by_name?", w.acknowledgement_note, w.cleared_at
             FROM warnings w
             LEFT JOIN users u ON u.id = w.acknowledged_by
            WHERE w.project_id = $1
              AND ($2::bool IS NULL OR (w.cleared_at IS NOT NULL) = $2)
              AND ($3::bool IS NULL OR (w.acknowledged_at IS NOT NULL) = $3)
              AND ($4::text IS NULL OR w.kind = $4)
              AND ($5::text IS NULL OR w.subject = $5)
              AND ($6::timestamptz IS NULL OR (w.raised_at, w.id) < ($6, $7))
            ORDER BY w.raised_at DESC, w.id DESC LIMIT $8"#,
        project.0,
        filter.cleared,
        filter.acknowledged,
        filter.kind,
        filter.subject,
        before_at,
        before_id,
        filter.limit,
    )
    .fetch_all(conn)
    .await
    .map_err(database("list warnings"))
}

/// Finds a warning.
pub async fn find(
    conn: &mut PgConnection,
    project: ProjectId,
    id: Uuid,
) -> Result<Option<ShownWarning>, StoreError> {
    sqlx::query_as!(
        ShownWarning,
        r#"SELECT w.id, w.kind, w.subject, w.severity, w.detail, w."values", w.raised_at,
                  w.updated_at, w.acknowledged_at, w.acknowledged_by,
                  u.name AS "acknowledged_by_name?", w.acknowledgement_note, w.cleared_at
             FROM warnings w
             LEFT JOIN users u ON u.id = w.acknowledged_by
            WHERE w.project_id = $1 AND w.id = $2"#,
        project.0,
        id,
    )
    .fetch_optional(conn)
    .await
    .map_err(database("find a warning"))
}

/// What happened to a warning once.
#[derive(Debug, Clone)]
pub struct HistoryEntry {
    /// `raised`, `updated`, `acknowledged` or `cleared`.
    pub action: String,
    /// The severity from then on.
    pub severity: String,
    /// What it said from then on.
    pub detail: String,
    /// The numbers behind it.
    pub values: Value,
    /// When.
    pub at: DateTime<Utc>,
    /// Who, where it was a person.
    pub by_user: Option<Uuid>,
    /// Their printed name.
    pub by_name: Option<String>,
    /// What they said.
    pub note: Option<String>,
}

/// The history of a warning, oldest first.
pub async fn history(
    conn: &mut PgConnection,
    project: ProjectId,
    id: Uuid,
) -> Result<Vec<HistoryEntry>, StoreError> {
    sqlx::query_as!(
        HistoryEntry,
        r#"SELECT h.action, h.severity, h.detail, h."values", h.at, h.by_user,
                  u.name AS "by_name?", h.note
             FROM warning_history h
             LEFT JOIN users u ON u.id = h.by_user
            WHERE h.project_id = $1 AND h.warning_id = $2 ORDER BY h.n"#,
        project.0,
        id,
    )
    .fetch_all(conn)
    .await
    .map_err(database("read the history of a warning"))
}
