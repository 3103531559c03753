//! One job for every project, so that one that fails holds up no other.

use ::jobs::JobPayload;
use chrono::{DateTime, Utc};
use domain::ids::ProjectId;

use crate::{App, AppError, jobs::not_enqueued};

/// Asks every project for its job; returns how many were asked. Asked again for the same `tick`,
/// none is.
pub async fn ask_all<P: JobPayload>(
    app: &App,
    tick: DateTime<Utc>,
    job: impl Fn(ProjectId) -> P,
) -> Result<i64, AppError> {
    let mut tx = app.begin().await?;
    let mut asked = 0;
    for project in store::projects::list_ids(&mut tx).await? {
        let key = format!("{}:{project}:tick {}", P::QUEUE, tick.timestamp());
        let new = ::jobs::enqueue_unique(&mut tx, &key, &job(project)).await;
        asked += i64::from(new.map_err(not_enqueued)?);
    }
    app.commit(tx).await?;
    Ok(asked)
}
