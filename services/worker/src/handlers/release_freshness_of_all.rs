use app::{
    App,
    jobs::{ReleaseFreshness, ReleaseFreshnessOfAll},
    upkeep,
};
use jobs::{Counts, JobError};

use super::failed;

/// Asks every project to look for releases that grow stale.
pub(crate) async fn release_freshness_of_all(
    app: App,
    job: ReleaseFreshnessOfAll,
) -> Result<Counts, JobError> {
    let asked = upkeep::ask_all(&app, job.tick, |project| ReleaseFreshness { project }).await;
    Ok(Counts::of("projects_asked", asked.map_err(failed)?))
}
