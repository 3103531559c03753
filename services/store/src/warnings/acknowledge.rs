//! Somebody has it in hand.

use chrono::{DateTime, Utc};
use domain::ids::{ProjectId, UserId};
use sqlx::PgConnection;
use uuid::Uuid;

use crate::{StoreError, error::database};

/// Who has a warning in hand, and since when it has been over.
#[derive(Debug, Clone)]
pub struct Acknowledgement {
    /// Who acknowledged it.
    pub by: Option<Uuid>,
    /// When it ended.
    pub cleared_at: Option<DateTime<Utc>>,
}

/// Looks at a warning and keeps it so until the end of the transaction.
pub async fn lock(
    conn: &mut PgConnection,
    project: ProjectId,
    id: Uuid,
) -> Result<Option<Acknowledgement>, StoreError> {
    sqlx::query_as!(
        Acknowledgement,
        "SELECT acknowledged_by AS by, cleared_at FROM warnings
          WHERE project_id = $1 AND id = $2 FOR UPDATE",
        project.0,
        id,
    )
    .fetch_optional(conn)
    .await
    .map_err(database("lock a warning"))
}

/// Stores that `by` has the warning in hand.
pub async fn acknowledge(
    conn: &mut PgConnection,
    project: ProjectId,
    id: Uuid,
    (by, note): (UserId, &str),
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        r#"WITH changed AS (
               UPDATE warnings
                  SET acknowledged_at = $4, acknowledged_by = $3, acknowledgement_note = $5,
                      updated_at = $4
                WHERE project_id = $1 AND id = $2
               RETURNING id, kind, subject, severity, detail, "values"
           ), told AS (
               INSERT INTO feed_pending (project_id, topic, subject, body, at)
               SELECT $1, 'warning.acknowledged', subject,
                      jsonb_build_object('warning', id, 'kind', kind, 'subject', subject,
                                         'severity', severity, 'by', $3),
                      $4
                 FROM changed
           )
           INSERT INTO warning_history (project_id, warning_id, action, severity, detail, "values",
                                        at, by_user, note)
           SELECT $1, id, 'acknowledged', severity, detail, "values", $4, $3, $5 FROM changed"#,
        project.0,
        id,
        by.0,
        at,
        note,
    )
    .execute(conn)
    .await
    .map_err(database("acknowledge a warning"))?;
    Ok(())
}
