use app::{App, jobs::RepairRateOfEach, quality};
use jobs::{Counts, JobError};

use super::failed;

/// Asks every project in whose zone it is night to look at its repair rates.
pub(crate) async fn repair_rate_of_each(
    app: App,
    job: RepairRateOfEach,
) -> Result<Counts, JobError> {
    let asked = quality::ask_each(&app, job.tick).await.map_err(failed)?;
    Ok(Counts::of("projects_asked", asked))
}
