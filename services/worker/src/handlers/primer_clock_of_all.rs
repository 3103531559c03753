use app::{App, ambient, jobs::PrimerClockOfAll};
use jobs::{Counts, JobError};

use super::failed;

/// Asks the projects where a clock runs to look at it.
pub(crate) async fn primer_clock_of_all(
    app: App,
    job: PrimerClockOfAll,
) -> Result<Counts, JobError> {
    let asked = ambient::ask_clocks(&app, job.tick).await.map_err(failed)?;
    Ok(Counts::of("projects_asked", asked))
}
