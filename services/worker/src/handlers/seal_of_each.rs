use app::{App, jobs::SealOfEach};
use jobs::{Counts, JobError};

use super::failed;

/// Asks every project in whose zone the day has begun to seal its records.
pub(crate) async fn seal_of_each(app: App, job: SealOfEach) -> Result<Counts, JobError> {
    let asked = app::seal::ask_each(&app, job.tick).await.map_err(failed)?;
    Ok(Counts::of("projects_asked", asked))
}
