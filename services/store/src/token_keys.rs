//! Keys that sign access tokens.

use chrono::{DateTime, Utc};
use sqlx::PgConnection;

use crate::{StoreError, error::database};

/// A stored key. It has no `Debug`: it must not reach a log.
#[derive(Clone)]
pub struct StoredKey {
    /// Key id.
    pub kid: String,
    /// The private key.
    pub pkcs8: Vec<u8>,
    /// When it was made.
    pub created_at: DateTime<Utc>,
    /// Since when it signs nothing.
    pub retired_at: Option<DateTime<Utc>>,
}

/// Keys that still verify: those not retired, and those retired after `retired_after`. In the
/// order of their making, those that sign last.
pub async fn list(
    conn: &mut PgConnection,
    retired_after: DateTime<Utc>,
) -> Result<Vec<StoredKey>, StoreError> {
    sqlx::query_as!(
        StoredKey,
        "
        SELECT kid, pkcs8, created_at, retired_at
        FROM token_keys
        WHERE retired_at IS NULL OR retired_at > $1
        ORDER BY retired_at IS NULL, created_at, kid
        ",
        retired_after
    )
    .fetch_all(conn)
    .await
    .map_err(database("list token keys"))
}

/// Holds other servers back from adding a key until the end of the transaction.
pub async fn lock(conn: &mut PgConnection) -> Result<(), StoreError> {
    sqlx::query!("LOCK TABLE token_keys IN SHARE ROW EXCLUSIVE MODE")
        .execute(conn)
        .await
        .map_err(database("lock the token keys"))?;
    Ok(())
}

/// Adds a key.
pub async fn insert(
    conn: &mut PgConnection,
    kid: &str,
    pkcs8: &[u8],
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO token_keys (kid, pkcs8, created_at) VALUES ($1, $2, $3)",
        kid,
        pkcs8,
        now
    )
    .execute(conn)
    .await
    .map_err(database("insert a token key"))?;
    Ok(())
}

/// Retires every key but `kid`; returns how many.
pub async fn retire_others(
    conn: &mut PgConnection,
    kid: &str,
    now: DateTime<Utc>,
) -> Result<u64, StoreError> {
    let done = sqlx::query!(
        "UPDATE token_keys SET retired_at = $2 WHERE kid <> $1 AND retired_at IS NULL",
        kid,
        now
    )
    .execute(conn)
    .await
    .map_err(database("retire token keys"))?;
    Ok(done.rows_affected())
}
