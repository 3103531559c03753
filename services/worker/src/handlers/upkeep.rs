use app::{App, jobs::Upkeep};
use jobs::{Counts, JobError};

use super::{count, failed};

/// Deletes what nobody needs any more.
pub(crate) async fn upkeep(app: App, _: Upkeep) -> Result<Counts, JobError> {
    let done = app::upkeep::clean(&app).await.map_err(failed)?;
    Ok(Counts::of("sessions", count(done.sessions))
        .and("setup_codes", count(done.setup_codes))
        .and("changes", count(done.changes))
        .and("exports", count(done.exports))
        .and("jobs", count(done.jobs))
        .and("runs", count(done.runs))
        .and("given_back", count(done.given_back)))
}
