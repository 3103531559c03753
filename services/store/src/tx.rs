//! The unit of work.

use sqlx::PgPool;

use crate::{StoreError, error::database};

/// One transaction: opened once, passed first, committed last. Dropped, it rolls back.
pub type Tx = sqlx::Transaction<'static, sqlx::Postgres>;

/// Opens a transaction that neither waits long for a lock nor runs long.
///
/// The limits are local to the transaction, so they hold behind a transaction pooler too, and
/// they travel with `BEGIN` in one round trip.
pub async fn begin(pool: &PgPool) -> Result<Tx, StoreError> {
    pool.begin_with("BEGIN; SET LOCAL lock_timeout = '2s'; SET LOCAL statement_timeout = '10s'")
        .await
        .map_err(database("begin a transaction"))
}

/// Commits `tx`.
pub async fn commit(tx: Tx) -> Result<(), StoreError> {
    tx.commit().await.map_err(database("commit a transaction"))
}

/// Opens a savepoint inside a transaction. Dropped without [`commit`](sqlx::Transaction::commit),
/// only what came after it is undone.
pub async fn savepoint(tx: &mut Tx) -> Result<sqlx::Transaction<'_, sqlx::Postgres>, StoreError> {
    use sqlx::Acquire as _;
    tx.begin().await.map_err(database("set a savepoint"))
}
