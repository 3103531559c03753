//! One-time codes by which somebody who forgot their password sets a new one.

use chrono::{DateTime, Utc};
use domain::ids::UserId;
use sqlx::PgConnection;

use crate::{StoreError, error::database};

/// Adds a code for `user` by its SHA-256; earlier ones of the same user are void.
pub async fn insert(
    conn: &mut PgConnection,
    code_hash: &[u8],
    user: UserId,
    made_by: UserId,
    created_at: DateTime<Utc>,
    expires_at: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "UPDATE password_resets SET used_at = $2 WHERE user_id = $1 AND used_at IS NULL",
        user.0,
        created_at
    )
    .execute(&mut *conn)
    .await
    .map_err(database("void earlier reset codes"))?;
    sqlx::query!(
        "
        INSERT INTO password_resets (code_hash, user_id, made_by, created_at, expires_at)
        VALUES ($1, $2, $3, $4, $5)
        ",
        code_hash,
        user.0,
        made_by.0,
        created_at,
        expires_at
    )
    .execute(conn)
    .await
    .map_err(database("insert a reset code"))?;
    Ok(())
}

/// Uses a code up; whose it was, if there is one of that hash that can still be used at `now`.
pub async fn use_up(
    conn: &mut PgConnection,
    code_hash: &[u8],
    now: DateTime<Utc>,
) -> Result<Option<UserId>, StoreError> {
    let user = sqlx::query_scalar!(
        "
        UPDATE password_resets SET used_at = $2
        WHERE code_hash = $1 AND used_at IS NULL AND expires_at > $2
        RETURNING user_id
        ",
        code_hash,
        now
    )
    .fetch_optional(conn)
    .await
    .map_err(database("use a reset code up"))?;
    Ok(user.map(UserId))
}

/// Deletes codes that were used or past their time before `before`; returns how many.
pub async fn prune(conn: &mut PgConnection, before: DateTime<Utc>) -> Result<u64, StoreError> {
    let done =
        sqlx::query!("DELETE FROM password_resets WHERE least(used_at, expires_at) < $1", before)
            .execute(conn)
            .await
            .map_err(database("delete reset codes that are over"))?;
    Ok(done.rows_affected())
}
