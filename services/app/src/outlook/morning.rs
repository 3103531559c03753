//! The check of each morning.

use chrono::{DateTime, Timelike, Utc};
use domain::ids::ProjectId;

use crate::{
    App, AppError,
    jobs::{StockCheck, not_enqueued},
    setup,
};

/// The hour of the morning, on site: before the crews load.
const MORNING_H: u32 = 5;

/// Asks for a stock check in every project in whose zone the morning has come; returns how many
/// were asked. Asked again for the same `tick`, none is.
///
/// Days off are checked too: what expires does so on holidays as well.
pub async fn ask_each(app: &App, tick: DateTime<Utc>) -> Result<i64, AppError> {
    let mut tx = app.begin().await?;
    let projects = store::projects::list_ids(&mut tx).await?;
    drop(tx);
    let mut asked = 0;
    for project in projects {
        match ask(app, project, tick).await {
            Ok(new) => asked += i64::from(new),
            // One project that cannot be looked at holds up no other.
            Err(error) => tracing::error!(project.id = %project, %error, "no check this morning"),
        }
    }
    Ok(asked)
}

async fn ask(app: &App, project: ProjectId, tick: DateTime<Utc>) -> Result<bool, AppError> {
    let mut tx = app.begin_in(project).await?;
    let setup = setup::snapshot(app, &mut tx, project).await?;
    let local = tick.with_timezone(&setup.time_zone);
    // Later as well: who was down at that hour looks when it is up.
    if local.hour() < MORNING_H {
        return Ok(false);
    }
    let key = format!("stock_check:{project}:{}", local.date_naive());
    let new = ::jobs::enqueue_unique(&mut tx, &key, &StockCheck { project }).await;
    let new = new.map_err(not_enqueued)?;
    app.commit(tx).await?;
    Ok(new)
}
