//! Work that happens later: what a job is, how it is asked for, and how it is run.
//!
//! This is the only crate that knows the queue library; nobody outside sees a type of it. The
//! library keeps jobs in PostgreSQL, hands each to one worker, and takes it away again from a
//! worker that stops giving signs of life. It promises *at least once*, and it has gaps. What is
//! promised here, by the guards of this crate:
//!
//! * A job exists exactly when the transaction that asked for it is committed ([`enqueue()`]).
//! * A job asked for twice under one key exists once, and asking does no harm ([`enqueue_unique`]).
//! * Its effect happens once, also when it runs twice ([`JobContext::claim_effect`]), and not at
//!   the hand of a worker that slept while its job was given away ([`JobContext::still_mine`]).
//! * A failure waits longer each time, and the wait survives a restart ([`Backoff`]).
//! * A job that panics, hangs or kills its process stops after [`JobPayload::MAX_ATTEMPTS`].
//! * Every attempt is a row of `job_runs` that a person can look at ([`list_runs`]).
//! * A schedule fires once per tick, however many processes run ([`Cron`]).
//!
//! Not in this crate: the jobs themselves, and any rule of the trade.
//!
//! How to add a job:
//! 1. Write a struct whose fields are ids, and implement [`JobPayload`] for it.
//! 2. Call [`enqueue()`] in the transaction that makes it necessary.
//! 3. Write `async fn(JobContext, YourPayload) -> Result<Counts, JobError>` and hand it to
//!    [`RunnerBuilder::register`].
//!
//! The SQL here is checked when it runs, unlike that of the rest of the workspace: the schema
//! `apalis` is made by the library's own migrations, which the tool that prepares checked SQL
//! does not run. The tests of this crate run every statement.

mod attempt;
mod backoff;
mod context;
mod counts;
mod cron;
mod enqueue;
mod error;
mod lease;
mod list;
mod payload;
mod release;
mod runner;
mod runs;
mod settings;
mod upkeep;
mod worker;

pub use crate::{
    backoff::Backoff,
    context::JobContext,
    counts::Counts,
    cron::{CatchUp, Cron, CronError},
    enqueue::{enqueue, enqueue_at, enqueue_unique, enqueue_unique_at},
    error::{EnqueueError, JobError, MigrateError, RunnerError},
    list::{JobRun, RunFilter, list_runs},
    payload::{JobId, JobPayload},
    runner::{Runner, RunnerBuilder},
    runs::RunOutcome,
    settings::{QueueOptions, Settings},
    upkeep::{Pruned, prune, prune_runs, reap},
};

/// Brings the queue's own tables up to date; harmless when they are.
///
/// Our tables (`job_runs`, `job_effects`, `cron_runs`) belong to the migrations of the project.
pub async fn migrate(pool: &sqlx::PgPool) -> Result<(), MigrateError> {
    apalis_postgres::PostgresStorage::<()>::setup(pool)
        .await
        .map_err(|source| MigrateError(Box::new(source)))
}

/// Lets the roles of the project's migrations at the queue's own tables: who serves requests only
/// puts jobs in; who works takes them out.
pub async fn let_in(pool: &sqlx::PgPool) -> Result<(), MigrateError> {
    let grants = "
        GRANT USAGE ON SCHEMA apalis TO jointward_app, jointward_worker;
        GRANT SELECT, INSERT ON apalis.jobs TO jointward_app;
        GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA apalis TO jointward_worker;
        GRANT USAGE ON ALL SEQUENCES IN SCHEMA apalis TO jointward_worker";
    let granted = sqlx::raw_sql(grants).execute(pool).await;
    granted.map(|_| ()).map_err(|source| MigrateError(Box::new(source)))
}
