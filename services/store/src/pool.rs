//! Connections and the schema they find.

use std::time::Duration;

use sqlx::{PgPool, Postgres, migrate::Migrator, pool::PoolConnection, postgres::PgPoolOptions};

use crate::{StoreError, error::database};

/// The schema of this crate's tables, as steps.
pub static MIGRATOR: Migrator = sqlx::migrate!("../../migrations");

/// A request that waits longer than this for a connection is better refused than queued.
const ACQUIRE_TIMEOUT: Duration = Duration::from_secs(3);

/// Connections are renewed now and then, so that a moved or rebalanced server is found again.
const MAX_LIFETIME: Duration = Duration::from_mins(30);

/// Opens a pool of at most `max` connections to `url`.
pub async fn connect(url: &str, max: u32) -> Result<PgPool, StoreError> {
    PgPoolOptions::new()
        .max_connections(max)
        .acquire_timeout(ACQUIRE_TIMEOUT)
        .max_lifetime(MAX_LIFETIME)
        // A ping before every use costs a round trip per request and proves nothing about the
        // moment after it.
        .test_before_acquire(false)
        .connect(url)
        .await
        .map_err(database("connect to the database"))
}

/// A connection on loan; dropped, it goes back.
pub type Connection = PoolConnection<Postgres>;

/// Takes a connection for reads that need no transaction.
pub async fn acquire(pool: &PgPool) -> Result<Connection, StoreError> {
    pool.acquire().await.map_err(database("take a connection"))
}

/// Brings the schema up to date. Servers that start together take turns.
pub async fn migrate(pool: &PgPool) -> Result<(), StoreError> {
    MIGRATOR
        .run(pool)
        .await
        .map_err(|source| database("migrate the schema")(sqlx::Error::Migrate(Box::new(source))))
}
