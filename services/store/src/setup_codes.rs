//! One-time codes that make the first administrator.

use chrono::{DateTime, Utc};
use sqlx::PgConnection;

use crate::{StoreError, error::database};

/// Adds a code by its SHA-256.
pub async fn insert(
    conn: &mut PgConnection,
    code_hash: &[u8],
    created_at: DateTime<Utc>,
    expires_at: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO setup_codes (code_hash, created_at, expires_at) VALUES ($1, $2, $3)",
        code_hash,
        created_at,
        expires_at
    )
    .execute(conn)
    .await
    .map_err(database("insert a setup code"))?;
    Ok(())
}

/// Uses a code up; false if there is none of that hash that can still be used at `now`.
///
/// Claims take turns: two codes used at once must not make two first administrators.
pub async fn use_up(
    conn: &mut PgConnection,
    code_hash: &[u8],
    now: DateTime<Utc>,
) -> Result<bool, StoreError> {
    sqlx::query!("LOCK TABLE setup_codes IN SHARE ROW EXCLUSIVE MODE")
        .execute(&mut *conn)
        .await
        .map_err(database("lock the setup codes"))?;
    let done = sqlx::query!(
        "
        UPDATE setup_codes
        SET used_at = $2
        WHERE code_hash = $1 AND used_at IS NULL AND expires_at > $2
        ",
        code_hash,
        now
    )
    .execute(conn)
    .await
    .map_err(database("use a setup code up"))?;
    Ok(done.rows_affected() == 1)
}

/// Deletes codes that were used or past their time before `before`; returns how many.
pub async fn prune(conn: &mut PgConnection, before: DateTime<Utc>) -> Result<u64, StoreError> {
    let done =
        sqlx::query!("DELETE FROM setup_codes WHERE least(used_at, expires_at) < $1", before)
            .execute(conn)
            .await
            .map_err(database("delete setup codes that are over"))?;
    Ok(done.rows_affected())
}
