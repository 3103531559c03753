//! Signed-in devices.

use chrono::{DateTime, Utc};
use domain::ids::{SessionId, UserId};
use sqlx::PgConnection;

use crate::{StoreError, error::database};

/// A session, as refreshing needs it.
#[derive(Debug, Clone)]
pub struct Session {
    /// Its id.
    pub id: SessionId,
    /// Who signed in.
    pub user: UserId,
    /// Whether the token shown is the one in force, not the one before it.
    pub is_current: bool,
    /// When the token was last replaced.
    pub refreshed_at: DateTime<Utc>,
    /// Absolute end.
    pub expires_at: DateTime<Utc>,
    /// When it was ended.
    pub ended_at: Option<DateTime<Utc>>,
    /// Whether the user is refused.
    pub user_disabled: bool,
}

/// A session to insert.
#[derive(Debug, Clone, Copy)]
pub struct NewSession<'a> {
    /// Its id.
    pub id: SessionId,
    /// Who signed in.
    pub user: UserId,
    /// SHA-256 of its refresh token.
    pub refresh_hash: &'a [u8],
    /// Now.
    pub created_at: DateTime<Utc>,
    /// Absolute end.
    pub expires_at: DateTime<Utc>,
    /// What the device says of itself.
    pub device: Option<&'a str>,
}

/// An open session, as its holder sees it.
#[derive(Debug, Clone)]
pub struct OpenSession {
    /// Its id.
    pub id: SessionId,
    /// What the device said of itself.
    pub device: Option<String>,
    /// When it was opened.
    pub created_at: DateTime<Utc>,
    /// When its tokens were last replaced.
    pub refreshed_at: DateTime<Utc>,
    /// Absolute end.
    pub expires_at: DateTime<Utc>,
}

/// Who is behind a session.
#[derive(Debug, Clone)]
pub struct Holder {
    /// Printed name.
    pub name: String,
    /// E-mail.
    pub email: String,
    /// May create users and projects.
    pub is_administrator: bool,
}

/// Adds a session.
pub async fn insert(conn: &mut PgConnection, session: NewSession<'_>) -> Result<(), StoreError> {
    sqlx::query!(
        "
        INSERT INTO sessions (id, user_id, refresh_hash, created_at, refreshed_at, expires_at,
                              device)
        VALUES ($1, $2, $3, $4, $4, $5, $6)
        ",
        session.id.0,
        session.user.0,
        session.refresh_hash,
        session.created_at,
        session.expires_at,
        session.device
    )
    .execute(conn)
    .await
    .map_err(database("insert a session"))?;
    Ok(())
}

/// Who holds the session `id` of `user`, if it is open at `now` and the user is not disabled.
pub async fn holder(
    conn: &mut PgConnection,
    id: SessionId,
    user: UserId,
    now: DateTime<Utc>,
) -> Result<Option<Holder>, StoreError> {
    sqlx::query_as!(
        Holder,
        "
        SELECT u.name, u.email, u.is_administrator
        FROM sessions s
        JOIN users u ON u.id = s.user_id
        WHERE s.id = $1
          AND s.user_id = $2
          AND s.ended_at IS NULL
          AND s.expires_at > $3
          AND u.disabled_at IS NULL
        ",
        id.0,
        user.0,
        now
    )
    .fetch_optional(conn)
    .await
    .map_err(database("find the holder of a session"))
}

/// The session whose refresh token, in force or the one before, has `hash`; locked until the end
/// of the transaction, so that one token is exchanged once at a time.
pub async fn lock_by_refresh_hash(
    conn: &mut PgConnection,
    hash: &[u8],
) -> Result<Option<Session>, StoreError> {
    sqlx::query_as!(
        Session,
        r#"
        SELECT
            s.id,
            s.user_id AS "user!",
            s.refresh_hash = $1 AS "is_current!",
            s.refreshed_at,
            s.expires_at,
            s.ended_at,
            u.disabled_at IS NOT NULL AS "user_disabled!"
        FROM sessions s
        JOIN users u ON u.id = s.user_id
        WHERE s.refresh_hash = $1 OR s.previous_hash = $1
        FOR UPDATE OF s
        "#,
        hash
    )
    .fetch_optional(conn)
    .await
    .map_err(database("find a session by its refresh token"))
}

/// Puts the refresh token `next` in the place of the one that was `shown`.
pub async fn rotate(
    conn: &mut PgConnection,
    id: SessionId,
    shown: &[u8],
    next: &[u8],
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "
        UPDATE sessions
        SET refresh_hash = $3,
            previous_hash = $2,
            -- A reply that was lost is not a new start: the time for repeats runs on.
            refreshed_at = CASE WHEN refresh_hash = $2 THEN $4 ELSE refreshed_at END
        WHERE id = $1
        ",
        id.0,
        shown,
        next,
        now
    )
    .execute(conn)
    .await
    .map_err(database("replace a refresh token"))?;
    Ok(())
}

/// The sessions of `user` that are open at `now`, the newest first.
pub async fn open(
    conn: &mut PgConnection,
    user: UserId,
    now: DateTime<Utc>,
) -> Result<Vec<OpenSession>, StoreError> {
    sqlx::query_as!(
        OpenSession,
        "
        SELECT id, device, created_at, refreshed_at, expires_at
        FROM sessions
        WHERE user_id = $1 AND ended_at IS NULL AND expires_at > $2
        ORDER BY created_at DESC, id
        ",
        user.0,
        now
    )
    .fetch_all(conn)
    .await
    .map_err(database("list the sessions of a user"))
}

/// Ends the session `id`, unless it has ended.
pub async fn end(
    conn: &mut PgConnection,
    id: SessionId,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!("UPDATE sessions SET ended_at = $2 WHERE id = $1 AND ended_at IS NULL", id.0, now)
        .execute(conn)
        .await
        .map_err(database("end a session"))?;
    Ok(())
}

/// Ends the open session `id` of `user`; false if there is none.
pub async fn end_of(
    conn: &mut PgConnection,
    user: UserId,
    id: SessionId,
    now: DateTime<Utc>,
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "UPDATE sessions SET ended_at = $3 WHERE id = $1 AND user_id = $2 AND ended_at IS NULL",
        id.0,
        user.0,
        now
    )
    .execute(conn)
    .await
    .map_err(database("end a session of a user"))?;
    Ok(done.rows_affected() == 1)
}

/// Ends every session of `user` but `spared`.
pub async fn end_all(
    conn: &mut PgConnection,
    user: UserId,
    spared: Option<SessionId>,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "
        UPDATE sessions SET ended_at = $3
        WHERE user_id = $1 AND ended_at IS NULL AND id IS DISTINCT FROM $2
        ",
        user.0,
        spared.map(|it| it.0),
        now
    )
    .execute(conn)
    .await
    .map_err(database("end the sessions of a user"))?;
    Ok(())
}

/// Deletes sessions that were over before `before`; returns how many.
pub async fn prune(conn: &mut PgConnection, before: DateTime<Utc>) -> Result<u64, StoreError> {
    let done = sqlx::query!("DELETE FROM sessions WHERE least(ended_at, expires_at) < $1", before)
        .execute(conn)
        .await
        .map_err(database("delete sessions that are over"))?;
    Ok(done.rows_affected())
}
