//! One job for every project, so that one that fails holds up no other.

use chrono::{DateTime, Utc};

use crate::{
    App, AppError,
    jobs::{PostConsumption, ReleaseFreshness, not_enqueued},
};

/// Asks every project to post what its facts took, as far as that is left behind; returns how many
/// were asked. Asked again for the same `tick`, none is.
pub async fn ask_all_for_consumption(app: &App, tick: DateTime<Utc>) -> Result<i64, AppError> {
    let mut tx = app.begin().await?;
    let mut asked = 0;
    for project in store::projects::list_ids(&mut tx).await? {
        let key = format!("post_consumption:{project}:tick {}", tick.timestamp());
        let job = PostConsumption { project };
        let new = ::jobs::enqueue_unique(&mut tx, &key, &job).await.map_err(not_enqueued)?;
        asked += i64::from(new);
    }
    app.commit(tx).await?;
    Ok(asked)
}

/// Asks every project to look for releases that grow stale; returns how many were asked. Asked
/// again for the same `tick`, none is.
pub async fn ask_all(app: &App, tick: DateTime<Utc>) -> Result<i64, AppError> {
    let mut tx = app.begin().await?;
    let mut asked = 0;
    for project in store::projects::list_ids(&mut tx).await? {
        let key = format!("release_freshness:{project}:{}", tick.timestamp());
        let job = ReleaseFreshness { project };
        let new = ::jobs::enqueue_unique(&mut tx, &key, &job).await.map_err(not_enqueued)?;
        asked += i64::from(new);
    }
    app.commit(tx).await?;
    Ok(asked)
}
