//! E-mail: who wants it, and what became of it.

use chrono::{DateTime, NaiveDate, Utc};
use domain::ids::{ProjectId, UserId};
use sqlx::PgConnection;
use uuid::Uuid;

use crate::{StoreError, error::database};

/// What somebody wants to be written about.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Choice {
    /// Urgent warnings, at once.
    pub urgent: bool,
    /// What is open, each morning.
    pub digest: bool,
}

/// What `user` wants; nothing, if they never said.
pub async fn choice(
    conn: &mut PgConnection,
    project: ProjectId,
    user: UserId,
) -> Result<Choice, StoreError> {
    let found = sqlx::query_as!(
        Choice,
        "SELECT urgent, digest FROM notification_choices WHERE project_id = $1 AND user_id = $2",
        project.0,
        user.0,
    )
    .fetch_optional(conn)
    .await
    .map_err(database("find what somebody wants to be written about"))?;
    Ok(found.unwrap_or_default())
}

/// Stores what `user` wants.
pub async fn choose(
    conn: &mut PgConnection,
    project: ProjectId,
    user: UserId,
    choice: Choice,
) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO notification_choices (project_id, user_id, urgent, digest)
         VALUES ($1, $2, $3, $4)
             ON CONFLICT (project_id, user_id)
             DO UPDATE SET urgent = excluded.urgent, digest = excluded.digest",
        project.0,
        user.0,
        choice.urgent,
        choice.digest,
    )
    .execute(conn)
    .await
    .map_err(database("store what somebody wants to be written about"))?;
    Ok(())
}

/// A mail to all who want its kind.
#[derive(Debug, Clone)]
pub struct NewMail<'a> {
    /// `urgent` or `digest`.
    pub kind: &'a str,
    /// What it is about: nobody gets two of one kind about the same.
    pub about: &'a str,
    /// Subject, without the project.
    pub subject: &'a str,
    /// Plain text.
    pub body: &'a str,
}

/// Writes to all who want mail of that kind; returns how many.
pub async fn write(
    conn: &mut PgConnection,
    project: ProjectId,
    mail: &NewMail<'_>,
    at: DateTime<Utc>,
) -> Result<u64, StoreError> {
    let done = sqlx::query!(
        "INSERT INTO mails (project_id, id, user_id, kind, about, subject, body, next_at,
                            created_at)
         SELECT $1, gen_random_uuid(), c.user_id, $2::text, $3, p.code || ': ' || $4::text, $5, $6, $6
           FROM notification_choices c
           JOIN projects p ON p.id = c.project_id
          WHERE c.project_id = $1
            AND CASE $2::text WHEN 'urgent' THEN c.urgent ELSE c.digest END
             ON CONFLICT (project_id, user_id, kind, about) DO NOTHING",
        project.0,
        mail.kind,
        mail.about,
        mail.subject,
        mail.body,
        at,
    )
    .execute(conn)
    .await
    .map_err(database("write mail"))?;
    Ok(done.rows_affected())
}

/// A warning as a digest tells it.
#[derive(Debug, Clone)]
pub struct OpenWarning {
    /// Kind.
    pub kind: String,
    /// What it is about.
    pub subject: String,
    /// `notice` or `urgent`.
    pub severity: String,
    /// What is the matter.
    pub detail: String,
    /// Since when.
    pub raised_at: DateTime<Utc>,
    /// Somebody has it in hand.
    pub acknowledged: bool,
}

/// The open warnings of a project, oldest first, at most a thousand; unlike their list it needs no
/// look at accounts, which the worker may not see.
pub async fn open_warnings(
    conn: &mut PgConnection,
    project: ProjectId,
) -> Result<Vec<OpenWarning>, StoreError> {
    sqlx::query_as!(
        OpenWarning,
        r#"SELECT kind, subject, severity, detail, raised_at,
                  acknowledged_at IS NOT NULL AS "acknowledged!"
             FROM warnings WHERE project_id = $1 AND cleared_at IS NULL
            ORDER BY raised_at, id LIMIT 1000"#,
        project.0,
    )
    .fetch_all(conn)
    .await
    .map_err(database("read open warnings"))
}

/// Marks a day's digest as made; false if it was already.
pub async fn begin_digest(
    conn: &mut PgConnection,
    project: ProjectId,
    on_day: NaiveDate,
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "INSERT INTO digests (project_id, on_day) VALUES ($1, $2) ON CONFLICT DO NOTHING",
        project.0,
        on_day,
    )
    .execute(conn)
    .await
    .map_err(database("begin a digest"))?;
    Ok(done.rows_affected() == 1)
}

/// Claims what is due, in all projects: each is due again at `again_at`, should its job be lost.
pub async fn ask(
    conn: &mut PgConnection,
    now: DateTime<Utc>,
    again_at: DateTime<Utc>,
    limit: i64,
) -> Result<Vec<(ProjectId, Uuid)>, StoreError> {
    let rows = sqlx::query!(
        "UPDATE mails SET next_at = $2
          WHERE (project_id, id) IN (SELECT project_id, id FROM mails
                                      WHERE status = 'pending' AND next_at <= $1
                                      ORDER BY next_at LIMIT $3 FOR UPDATE SKIP LOCKED)
         RETURNING project_id, id",
        now,
        again_at,
        limit,
    )
    .fetch_all(conn)
    .await
    .map_err(database("look for mail to send"))?;
    Ok(rows.into_iter().map(|row| (ProjectId(row.project_id), row.id)).collect())
}

/// A mail that is to be sent.
#[derive(Debug, Clone)]
pub struct Outgoing {
    /// Address; none where the user may not sign in any more.
    pub to: Option<String>,
    /// Subject.
    pub subject: String,
    /// Plain text.
    pub body: String,
    /// How often it was tried, this time included.
    pub attempts: i32,
}

/// Counts an attempt at a mail; none where it is over.
pub async fn take(
    conn: &mut PgConnection,
    project: ProjectId,
    id: Uuid,
) -> Result<Option<Outgoing>, StoreError> {
    sqlx::query_as!(
        Outgoing,
        r#"UPDATE mails SET attempts = attempts + 1
            WHERE project_id = $1 AND id = $2 AND status = 'pending'
           RETURNING mail_address(user_id) AS "to", subject, body, attempts"#,
        project.0,
        id,
    )
    .fetch_optional(conn)
    .await
    .map_err(database("take a mail"))
}

/// Stores what became of a mail: `sent`, `skipped`, `failed`, or `pending` until `next_at`.
pub async fn settle(
    conn: &mut PgConnection,
    project: ProjectId,
    id: Uuid,
    (status, failure): (&str, Option<&str>),
    (at, next_at): (DateTime<Utc>, Option<DateTime<Utc>>),
) -> Result<(), StoreError> {
    sqlx::query!(
        "UPDATE mails
            SET status = $3, failure = $4, next_at = $6,
                ended_at = CASE WHEN $6::timestamptz IS NULL THEN $5::timestamptz END
          WHERE project_id = $1 AND id = $2",
        project.0,
        id,
        status,
        failure,
        at,
        next_at,
    )
    .execute(conn)
    .await
    .map_err(database("store what became of a mail"))?;
    Ok(())
}

/// A mail as its receiver sees it in a list.
#[derive(Debug, Clone)]
pub struct ShownMail {
    /// `urgent` or `digest`.
    pub kind: String,
    /// Subject.
    pub subject: String,
    /// `pending`, `sent`, `skipped` or `failed`.
    pub status: String,
    /// Why not.
    pub failure: Option<String>,
    /// When it was written.
    pub created_at: DateTime<Utc>,
    /// When it was sent or given up.
    pub ended_at: Option<DateTime<Utc>>,
}

/// The mails to `user`, newest first.
pub async fn list(
    conn: &mut PgConnection,
    project: ProjectId,
    user: UserId,
    limit: i64,
) -> Result<Vec<ShownMail>, StoreError> {
    sqlx::query_as!(
        ShownMail,
        "SELECT kind, subject, status, failure, created_at, ended_at FROM mails
          WHERE project_id = $1 AND user_id = $2 ORDER BY created_at DESC, id DESC LIMIT $3",
        project.0,
        user.0,
        limit,
    )
    .fetch_all(conn)
    .await
    .map_err(database("list mail"))
}

/// Forgets mail from before `before` that is over, in all projects; returns how many.
pub async fn prune(conn: &mut PgConnection, before: DateTime<Utc>) -> Result<u64, StoreError> {
    let done =
        sqlx::query!("DELETE FROM mails WHERE created_at < $1 AND status <> 'pending'", before)
            .execute(conn)
            .await
            .map_err(database("forget mail"))?;
    Ok(done.rows_affected())
}
