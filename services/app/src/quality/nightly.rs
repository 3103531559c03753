//! The look of each night.

use chrono::{DateTime, Timelike, Utc};
use domain::ids::ProjectId;

use crate::{
    App, AppError,
    jobs::{RepairRate, not_enqueued},
    setup,
};

/// The hour of the night, on site: the tests of the day before have arrived by then.
const NIGHT_H: u32 = 2;

/// Asks for a look in every project in whose zone that hour has come; returns how many were asked.
/// Asked again for the same day, none is.
pub async fn ask_each(app: &App, tick: DateTime<Utc>) -> Result<i64, AppError> {
    let mut tx = app.begin().await?;
    let projects = store::projects::list_ids(&mut tx).await?;
    drop(tx);
    let mut asked = 0;
    for project in projects {
        match ask(app, project, tick).await {
            Ok(new) => asked += i64::from(new),
            // One project that cannot be looked at holds up no other.
            Err(error) => tracing::error!(project.id = %project, %error, "no rates tonight"),
        }
    }
    Ok(asked)
}

async fn ask(app: &App, project: ProjectId, tick: DateTime<Utc>) -> Result<bool, AppError> {
    let mut tx = app.begin_in(project).await?;
    let zone = setup::snapshot(app, &mut tx, project).await?.time_zone;
    let local = tick.with_timezone(&zone);
    // Later as well: who was down at that hour looks when it is up.
    if local.hour() < NIGHT_H {
        return Ok(false);
    }
    let key = format!("repair_rate:{project}:{}", local.date_naive());
    let new = ::jobs::enqueue_unique(&mut tx, &key, &RepairRate { project }).await;
    let new = new.map_err(not_enqueued)?;
    app.commit(tx).await?;
    Ok(new)
}
