//! Jobs that follow a burst of facts, one for all of it.

use chrono::{DateTime, TimeDelta, Utc};
use domain::ids::ProjectId;
use store::PgConnection;

use super::{PostConsumption, not_enqueued};
use crate::AppError;

/// Facts of so many seconds are looked at together.
const BUCKET_S: i64 = 2;

/// Asks for the consumption of `project` to be posted at the end of the bucket that `now` is in.
///
/// To be called last before the commit: whoever asks under the same key waits until then. A fact
/// whose commit outlasts its bucket is found by the schedule.
pub(crate) async fn post_consumption_soon(
    conn: &mut PgConnection,
    project: ProjectId,
    now: DateTime<Utc>,
) -> Result<(), AppError> {
    let bucket = now.timestamp().div_euclid(BUCKET_S);
    let key = format!("post_consumption:{project}:{bucket}");
    let end = DateTime::from_timestamp((bucket + 1) * BUCKET_S, 0);
    let end = end.unwrap_or(now + TimeDelta::seconds(BUCKET_S));
    let job = PostConsumption { project };
    ::jobs::enqueue_unique_at(conn, &key, end, &job).await.map_err(not_enqueued)?;
    Ok(())
}
