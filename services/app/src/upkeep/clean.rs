//! Deletes what nobody needs any more.

use std::time::Duration;

use chrono::TimeDelta;
use store::error::database;

use crate::{App, AppError};

/// So long what is over can still be looked at.
const KEPT: TimeDelta = TimeDelta::days(30);

/// So long jobs that are over stay in the queue; their keys must outlive every schedule.
const JOBS_KEPT: Duration = Duration::from_hours(7 * 24);

/// A worker without a sign of life for so long is gone; far more than the queue's own patience.
const GONE: Duration = Duration::from_mins(5);

/// What was done.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Cleaned {
    /// Sessions deleted.
    pub sessions: u64,
    /// Setup codes deleted.
    pub setup_codes: u64,
    /// Jobs that are over, deleted.
    pub jobs: u64,
    /// Jobs taken from workers that are gone.
    pub given_back: u64,
}

/// Deletes sessions and setup codes that are long over, and keeps the queue small and moving.
pub async fn clean(app: &App) -> Result<Cleaned, AppError> {
    let before = app.clock.now() - KEPT;
    let mut conn = app.connection().await?;
    let sessions = store::sessions::prune(&mut conn, before).await?;
    let setup_codes = store::setup_codes::prune(&mut conn, before).await?;
    // The queue takes its own connections; holding this one could leave it none.
    drop(conn);
    let pruned = ::jobs::prune(&app.pool, JOBS_KEPT).await.map_err(database("prune the queue"))?;
    let given_back = ::jobs::reap(&app.pool, GONE).await.map_err(database("reap the queue"))?;
    Ok(Cleaned { sessions, setup_codes, jobs: pruned.jobs, given_back })
}
