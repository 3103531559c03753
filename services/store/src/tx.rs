//! The unit of work.

use domain::ids::{ProjectId, UserId};
use sqlx::{AssertSqlSafe, PgPool};

use crate::{StoreError, error::database};

/// One transaction: opened once, passed first, committed last. Dropped, it rolls back.
pub type Tx = sqlx::Transaction<'static, sqlx::Postgres>;

/// What a transaction may see. The row policies of the tables go by it, so what is left out here
/// is not there, whatever a query forgets to say.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Scope {
    /// The rows of this project.
    pub project: Option<ProjectId>,
    /// The projects and memberships of this user.
    pub user: Option<UserId>,
}

const BEGIN: &str = "BEGIN; SET LOCAL lock_timeout = '2s'; SET LOCAL statement_timeout = '10s'";

/// Opens a transaction that neither waits long for a lock nor runs long.
///
/// The limits and the scope are local to the transaction, so they hold behind a transaction
/// pooler too, and they travel with `BEGIN` in one round trip.
pub async fn begin(pool: &PgPool, scope: Scope) -> Result<Tx, StoreError> {
    open(pool, BEGIN, scope).await
}

/// Opens a transaction on `project` whose every statement finds its rows by key, so that one plan
/// fits all values. PostgreSQL thinks that of none that compares with an array, and makes a new
/// plan each time, which takes longer than to carry it out.
pub async fn begin_by_key(pool: &PgPool, project: ProjectId) -> Result<Tx, StoreError> {
    let begin = format!("{BEGIN}; SET LOCAL plan_cache_mode = force_generic_plan");
    open(pool, &begin, Scope { project: Some(project), user: None }).await
}

/// Opens a transaction that reads `project` as it stands at this moment.
pub async fn begin_snapshot(pool: &PgPool, project: ProjectId) -> Result<Tx, StoreError> {
    let scope = Scope { project: Some(project), user: None };
    open(pool, "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY", scope).await
}

/// Names another project in the middle of a transaction, for what is kept beside any.
pub async fn enter(tx: &mut Tx, project: ProjectId) -> Result<(), StoreError> {
    sqlx::query("SELECT set_config('app.project_id', $1, true)")
        .bind(project.0.to_string())
        .execute(&mut **tx)
        .await
        .map_err(database("name a project"))?;
    Ok(())
}

async fn open(pool: &PgPool, begin: &str, scope: Scope) -> Result<Tx, StoreError> {
    use std::fmt::Write as _;
    let mut statement = begin.to_owned();
    // Ids are UUIDs: there is nothing in them to escape. Writing into text cannot fail.
    if let Some(project) = scope.project {
        let _ = write!(statement, "; SET LOCAL app.project_id = '{}'", project.0);
    }
    if let Some(user) = scope.user {
        let _ = write!(statement, "; SET LOCAL app.user_id = '{}'", user.0);
    }
    pool.begin_with(AssertSqlSafe(statement)).await.map_err(database("begin a transaction"))
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
