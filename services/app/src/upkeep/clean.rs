//! Deletes what nobody needs any more.

use std::time::Duration;

use chrono::TimeDelta;
use store::error::database;

use crate::{App, AppError, accounts::FORGOTTEN_AFTER, export::EXPORT_KEPT};

/// So long what is over can still be looked at.
const KEPT: TimeDelta = TimeDelta::days(30);

/// So long an address is known without a sign-in from it.
const ADDRESS_KEPT: TimeDelta = TimeDelta::days(90);

/// So long jobs that are over stay in the queue; their keys must outlive every schedule.
const JOBS_KEPT: Duration = Duration::from_hours(7 * 24);

/// So long it can be seen what jobs did.
const RUNS_KEPT: Duration = Duration::from_hours(90 * 24);

/// A worker without a sign of life for so long is gone; far more than the queue's own patience.
const GONE: Duration = Duration::from_mins(5);

/// What was done.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Cleaned {
    /// Sessions deleted.
    pub sessions: u64,
    /// Setup codes deleted.
    pub setup_codes: u64,
    /// Reset codes deleted.
    pub password_resets: u64,
    /// Counts of wrong passwords that were forgotten.
    pub throttles: u64,
    /// Addresses that were forgotten.
    pub addresses: u64,
    /// Answers to keyed requests that were forgotten.
    pub answers: u64,
    /// Entries of the feeds that were forgotten.
    pub changes: u64,
    /// Deliveries that were forgotten.
    pub deliveries: u64,
    /// Mails that were forgotten.
    pub mails: u64,
    /// Copies of projects that were let go of.
    pub exports: u64,
    /// Jobs that are over, deleted.
    pub jobs: u64,
    /// Attempts at jobs that are forgotten.
    pub runs: u64,
    /// Jobs taken from workers that are gone.
    pub given_back: u64,
}

/// Deletes sessions and setup codes that are long over, and keeps the queue small and moving.
pub async fn clean(app: &App) -> Result<Cleaned, AppError> {
    let before = app.clock.now() - KEPT;
    let mut conn = app.connection().await?;
    let sessions = store::sessions::prune(&mut conn, before).await?;
    let setup_codes = store::setup_codes::prune(&mut conn, before).await?;
    let password_resets = store::password_resets::prune(&mut conn, before).await?;
    let answers = store::idempotency::prune(&mut conn, before).await?;
    store::feed::number_all(&mut conn).await?;
    let mut changes = 0;
    for project in store::projects::list_ids(&mut conn).await? {
        changes += store::feed::prune(&mut conn, project, before).await?;
    }
    let deliveries = store::webhooks::prune(&mut conn, before).await?;
    let mails = store::mails::prune(&mut conn, before).await?;
    let exports = store::exports::expire(&mut conn, app.clock.now() - EXPORT_KEPT).await?;
    let yesterday = app.clock.now() - FORGOTTEN_AFTER;
    let throttles = store::throttles::prune(&mut conn, yesterday).await?;
    let long_ago = app.clock.now() - ADDRESS_KEPT;
    let addresses = store::throttles::prune_addresses(&mut conn, long_ago).await?;
    // The queue takes its own connections; holding this one could leave it none.
    drop(conn);
    let pruned = ::jobs::prune(&app.pool, JOBS_KEPT).await.map_err(database("prune the queue"))?;
    let runs = ::jobs::prune_runs(&app.pool, RUNS_KEPT).await.map_err(database("prune runs"))?;
    let given_back = ::jobs::reap(&app.pool, GONE).await.map_err(database("reap the queue"))?;
    Ok(Cleaned {
        sessions,
        setup_codes,
        password_resets,
        throttles,
        addresses,
        answers,
        changes,
        deliveries,
        mails,
        exports,
        jobs: pruned.jobs,
        runs,
        given_back,
    })
}
