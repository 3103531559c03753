//! Warnings: one open per kind and subject, with the history of each.

use chrono::{DateTime, Utc};
use domain::ids::ProjectId;
use serde_json::Value;
use sqlx::PgConnection;
use uuid::Uuid;

use crate::{StoreError, error::database, mails::NewMail};

mod acknowledge;
mod read;

pub use acknowledge::{Acknowledgement, acknowledge, lock};
pub use read::{HistoryEntry, ShownWarning, WarningFilter, find, history, list};

/// Waits until no other transaction makes the warnings of the check `what` in `project`; the turn
/// ends with the transaction.
pub async fn take_turn(
    conn: &mut PgConnection,
    project: ProjectId,
    what: &str,
) -> Result<(), StoreError> {
    sqlx::query!(
        "SELECT pg_advisory_xact_lock(hashtextextended($2 || ':' || $1::text, 0))",
        project.0.to_string(),
        what,
    )
    .execute(conn)
    .await
    .map_err(database("take a turn at a check"))?;
    Ok(())
}

/// A warning to raise or to bring up to date.
#[derive(Debug, Clone, Default)]
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
    /// The numbers behind `detail`, an object; null says the same as an empty one.
    pub values: Value,
}

/// What raising a warning came to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Raising {
    /// People hear of it: it is new, or graver than the one that they know.
    Raised(Uuid),
    /// It says something else than before.
    Updated(Uuid),
    /// It is there and says the same.
    AlreadySo(Uuid),
}

/// Raises a warning, or brings the open one of that kind and subject up to date.
///
/// However often a check runs, what has not changed is no news: it leaves no trace, neither in the
/// history nor in the feed. Where the severity rises, an acknowledgement is taken back.
pub async fn raise(
    conn: &mut PgConnection,
    project: ProjectId,
    warning: &Raised<'_>,
    at: DateTime<Utc>,
) -> Result<Raising, StoreError> {
    let values = match &warning.values {
        Value::Null => Value::Object(serde_json::Map::new()),
        values => values.clone(),
    };
    loop {
        let open = sqlx::query!(
            r#"SELECT id, severity, detail, "values" FROM warnings
                WHERE project_id = $1 AND kind = $2 AND subject = $3 AND cleared_at IS NULL
                  FOR UPDATE"#,
            project.0,
            warning.kind,
            warning.subject,
        )
        .fetch_optional(&mut *conn)
        .await
        .map_err(database("find an open warning"))?;
        let Some(open) = open else {
            if insert(conn, project, warning, &values, at).await? {
                write_if_urgent(conn, project, warning.id, warning, at).await?;
                return Ok(Raising::Raised(warning.id));
            }
            // Somebody else raised it at the same moment; now it is there.
            continue;
        };
        let same = open.severity == warning.severity
            && open.detail == warning.detail
            && open.values == values;
        if same {
            return Ok(Raising::AlreadySo(open.id));
        }
        let graver = open.severity == "notice" && warning.severity == "urgent";
        update(conn, project, (open.id, graver), warning, &values, at).await?;
        if graver {
            write_if_urgent(conn, project, open.id, warning, at).await?;
        }
        return Ok(if graver { Raising::Raised(open.id) } else { Raising::Updated(open.id) });
    }
}

/// Writes to those who want to hear of urgent warnings at once.
async fn write_if_urgent(
    conn: &mut PgConnection,
    project: ProjectId,
    id: Uuid,
    warning: &Raised<'_>,
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    if warning.severity != "urgent" {
        return Ok(());
    }
    // The same warning may be raised again, should its severity fall and rise.
    let about = format!("{id} {}", at.to_rfc3339());
    let subject = format!("urgent: {} {}", warning.kind, warning.subject);
    let body = format!("{}\n\nWarning {id}, raised at {at}.\n", warning.detail);
    let mail = NewMail { kind: "urgent", about: &about, subject: &subject, body: &body };
    crate::mails::write(conn, project, &mail, at).await?;
    Ok(())
}

async fn insert(
    conn: &mut PgConnection,
    project: ProjectId,
    warning: &Raised<'_>,
    values: &Value,
    at: DateTime<Utc>,
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        r#"WITH raised AS (
               INSERT INTO warnings (project_id, id, kind, subject, severity, detail, "values",
                                     raised_at, updated_at)
               VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $8)
                   ON CONFLICT (project_id, kind, subject) WHERE cleared_at IS NULL DO NOTHING
               RETURNING id, kind, subject, severity, detail, "values"
           ), told AS (
               INSERT INTO feed_pending (project_id, topic, subject, body, at)
               SELECT $1, 'warning.raised', subject,
                      jsonb_build_object('warning', id, 'kind', kind, 'subject', subject,
                                         'severity', severity),
                      $8
                 FROM raised
           )
           INSERT INTO warning_history (project_id, warning_id, action, severity, detail, "values",
                                        at)
           SELECT $1, id, 'raised', severity, detail, "values", $8 FROM raised"#,
        project.0,
        warning.id,
        warning.kind,
        warning.subject,
        warning.severity,
        warning.detail,
        values,
        at,
    )
    .execute(conn)
    .await
    .map_err(database("raise a warning"))?;
    Ok(done.rows_affected() == 1)
}

async fn update(
    conn: &mut PgConnection,
    project: ProjectId,
    (id, graver): (Uuid, bool),
    warning: &Raised<'_>,
    values: &Value,
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    let action = if graver { "raised" } else { "updated" };
    sqlx::query!(
        r#"WITH changed AS (
               UPDATE warnings
                  SET severity = $3, detail = $4, "values" = $5, updated_at = $6,
                      acknowledged_at = CASE WHEN $7 THEN NULL ELSE acknowledged_at END,
                      acknowledged_by = CASE WHEN $7 THEN NULL ELSE acknowledged_by END,
                      acknowledgement_note = CASE WHEN $7 THEN NULL ELSE acknowledgement_note END
                WHERE project_id = $1 AND id = $2
               RETURNING id, kind, subject, severity, detail, "values"
           ), told AS (
               INSERT INTO feed_pending (project_id, topic, subject, body, at)
               SELECT $1, 'warning.' || $8::text, subject,
                      jsonb_build_object('warning', id, 'kind', kind, 'subject', subject,
                                         'severity', severity),
                      $6
                 FROM changed
           )
           INSERT INTO warning_history (project_id, warning_id, action, severity, detail, "values",
                                        at)
           SELECT $1, id, $8::text, severity, detail, "values", $6 FROM changed"#,
        project.0,
        id,
        warning.severity,
        warning.detail,
        values,
        at,
        graver,
        action,
    )
    .execute(conn)
    .await
    .map_err(database("bring a warning up to date"))?;
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
        r#"WITH cleared AS (
               UPDATE warnings SET cleared_at = $4, updated_at = $4
                WHERE project_id = $1 AND kind = $2 AND cleared_at IS NULL
                  AND subject <> ALL ($3)
               RETURNING id, kind, subject, severity, detail, "values"
           ), told AS (
               INSERT INTO feed_pending (project_id, topic, subject, body, at)
               SELECT $1, 'warning.cleared', subject,
                      jsonb_build_object('warning', id, 'kind', kind, 'subject', subject,
                                         'severity', severity),
                      $4
                 FROM cleared ORDER BY subject
           )
           INSERT INTO warning_history (project_id, warning_id, action, severity, detail, "values",
                                        at)
           SELECT $1, id, 'cleared', severity, detail, "values", $4 FROM cleared"#,
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
        r#"WITH cleared AS (
               UPDATE warnings SET cleared_at = $4, updated_at = $4
                WHERE project_id = $1 AND kind = $2 AND subject = $3 AND cleared_at IS NULL
               RETURNING id, kind, subject, severity, detail, "values"
           ), told AS (
               INSERT INTO feed_pending (project_id, topic, subject, body, at)
               SELECT $1, 'warning.cleared', subject,
                      jsonb_build_object('warning', id, 'kind', kind, 'subject', subject,
                                         'severity', severity),
                      $4
                 FROM cleared
           )
           INSERT INTO warning_history (project_id, warning_id, action, severity, detail, "values",
                                        at)
           SELECT $1, id, 'cleared', severity, detail, "values", $4 FROM cleared"#,
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
