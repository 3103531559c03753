//! Jobs that follow a burst, one for all of it.
//!
//! To be asked for last before the commit: whoever asks under the same key waits until then. What
//! is committed only after its job has run is found by the job's schedule.

use ::jobs::JobPayload;
use chrono::{DateTime, TimeDelta, Utc};
use domain::ids::ProjectId;
use store::PgConnection;

use super::{AmbientCheck, PostConsumption, StockCheck, not_enqueued};
use crate::AppError;

/// What happens within so many seconds is looked at together.
const BUCKET_S: i64 = 2;

/// So much later the job runs, for those who ask at the end of the bucket and commit after it.
const GRACE_S: i64 = 1;

/// Asks for the consumption of `project` to be posted soon after the bucket that `now` is in.
pub(crate) async fn post_consumption_soon(
    conn: &mut PgConnection,
    project: ProjectId,
    now: DateTime<Utc>,
) -> Result<(), AppError> {
    soon(conn, project, now, 0, &PostConsumption { project }).await?;
    Ok(())
}

/// Asks for the weather of `project` to be looked at soon after the bucket that `now` is in.
pub(crate) async fn ambient_check_soon(
    conn: &mut PgConnection,
    project: ProjectId,
    now: DateTime<Utc>,
) -> Result<(), AppError> {
    soon(conn, project, now, 0, &AmbientCheck { project }).await?;
    Ok(())
}

/// Asks for the stock of `project` to be looked at soon after the bucket that `now` is in.
pub(crate) async fn stock_check_soon(
    conn: &mut PgConnection,
    project: ProjectId,
    now: DateTime<Utc>,
) -> Result<(), AppError> {
    let job = StockCheck { project };
    if !soon(conn, project, now, 0, &job).await? {
        // The first may have run already, if this transaction has waited: one more for these.
        soon(conn, project, now, LATE_S, &job).await?;
    }
    Ok(())
}

/// So much later comes one more, for transactions that waited for locks.
const LATE_S: i64 = 15;

/// Returns whether nobody had asked before.
async fn soon<P: JobPayload>(
    conn: &mut PgConnection,
    project: ProjectId,
    now: DateTime<Utc>,
    later_s: i64,
    job: &P,
) -> Result<bool, AppError> {
    let bucket = now.timestamp().div_euclid(BUCKET_S);
    let key = format!("{}:{project}:{bucket}:{later_s}", P::QUEUE);
    let at = DateTime::from_timestamp((bucket + 1) * BUCKET_S + GRACE_S + later_s, 0);
    let at = at.unwrap_or(now + TimeDelta::seconds(BUCKET_S + GRACE_S + later_s));
    ::jobs::enqueue_unique_at(conn, &key, at, job).await.map_err(not_enqueued)
}
