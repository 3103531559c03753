use app::{
    App,
    jobs::{PostConsumption, PostConsumptionOfAll},
    upkeep,
};
use jobs::{Counts, JobError};

use super::failed;

/// Asks every project to post what is left behind.
pub(crate) async fn post_consumption_of_all(
    app: App,
    job: PostConsumptionOfAll,
) -> Result<Counts, JobError> {
    let asked = upkeep::ask_all(&app, job.tick, |project| PostConsumption { project }).await;
    Ok(Counts::of("projects_asked", asked.map_err(failed)?))
}
