//! Connections and the schema they find.

use std::time::Duration;

use sqlx::{
    AssertSqlSafe, PgConnection, PgPool, Postgres,
    migrate::Migrator,
    pool::PoolConnection,
    postgres::{PgConnectOptions, PgPoolOptions},
};

use crate::{StoreError, error::database};

/// The schema of this crate's tables, as steps.
pub static MIGRATOR: Migrator = sqlx::migrate!("../../migrations");

/// A request that waits longer than this for a connection is better refused than queued.
const ACQUIRE_TIMEOUT: Duration = Duration::from_secs(3);

/// Connections are renewed now and then, so that a moved or rebalanced server is found again.
const MAX_LIFETIME: Duration = Duration::from_mins(30);

/// A transaction that nobody goes on with must not hold its locks.
const IDLE_IN_TRANSACTION_TIMEOUT: &str = "15s";

/// As whom one works with the database; each may do what its kind of process needs, and no more.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// As whoever the URL names: for migrations and for people who keep the server.
    Owner,
    /// Serves requests.
    Application,
    /// Works off jobs.
    Worker,
    /// Reads.
    Reader,
}

impl Role {
    const fn name(self) -> Option<&'static str> {
        match self {
            Self::Owner => None,
            Self::Application => Some("jointward_app"),
            Self::Worker => Some("jointward_worker"),
            Self::Reader => Some("jointward_reader"),
        }
    }
}

/// Opens a pool of at most `max` connections to `url` that work as `role`. The roles are made by
/// [`migrate`].
pub async fn connect(url: &str, role: Role, max: u32) -> Result<PgPool, StoreError> {
    let options: PgConnectOptions = url.parse().map_err(database("read the database URL"))?;
    let mut settings = vec![
        ("idle_in_transaction_session_timeout", IDLE_IN_TRANSACTION_TIMEOUT),
        // What was acknowledged outlives a crash, whatever this server does by default.
        ("synchronous_commit", "on"),
    ];
    settings.extend(role.name().map(|name| ("role", name)));
    PgPoolOptions::new()
        .max_connections(max)
        .acquire_timeout(ACQUIRE_TIMEOUT)
        .max_lifetime(MAX_LIFETIME)
        // A ping before every use costs a round trip per request and proves nothing about the
        // moment after it.
        .test_before_acquire(false)
        .connect_with(options.options(settings))
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

/// Makes the roles that work for the application where they are missing. They belong to the whole
/// server and not to a database, so no backup of one holds them; migrations make them too.
pub async fn make_roles(pool: &PgPool) -> Result<(), StoreError> {
    for role in [Role::Application, Role::Worker, Role::Reader].iter().filter_map(|it| it.name()) {
        let statement = format!(
            "DO $$ BEGIN
                 IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = '{role}') THEN
                     CREATE ROLE {role} NOLOGIN NOSUPERUSER NOCREATEDB NOCREATEROLE NOBYPASSRLS;
                 END IF;
                 IF NOT pg_has_role('{role}', 'MEMBER') THEN
                     GRANT {role} TO CURRENT_USER;
                 END IF;
             EXCEPTION WHEN duplicate_object OR unique_violation THEN NULL;
             END $$"
        );
        sqlx::raw_sql(AssertSqlSafe(statement))
            .execute(pool)
            .await
            .map_err(database("make the roles"))?;
    }
    Ok(())
}

/// The newest migration of this program.
pub fn newest_migration() -> i64 {
    MIGRATOR.iter().map(|it| it.version).max().unwrap_or_default()
}

/// Whether every migration of this program was applied; there may be newer ones.
pub async fn is_migrated(conn: &mut PgConnection) -> Result<bool, StoreError> {
    let known: Vec<i64> = MIGRATOR.iter().map(|it| it.version).collect();
    // The table is the migrator's own, so the statement is not checked against the schema.
    let applied: i64 = sqlx::query_scalar(
        "SELECT count(*) FROM _sqlx_migrations WHERE success AND version = ANY($1)",
    )
    .bind(&known)
    .fetch_one(conn)
    .await
    .map_err(database("look at the schema"))?;
    Ok(usize::try_from(applied).is_ok_and(|it| it == known.len()))
}
