use app::{
    App,
    jobs::{AmbientCheck, AmbientCheckOfAll},
    upkeep,
};
use jobs::{Counts, JobError};

use super::failed;

/// Asks every project to look at its weather.
pub(crate) async fn ambient_check_of_all(
    app: App,
    job: AmbientCheckOfAll,
) -> Result<Counts, JobError> {
    let asked = upkeep::ask_all(&app, job.tick, |project| AmbientCheck { project }).await;
    Ok(Counts::of("projects_asked", asked.map_err(failed)?))
}
