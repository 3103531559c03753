use app::{App, ambient, jobs::PrimerClock};
use jobs::{Counts, JobError};

use super::failed;

/// Looks at the joints of a project that wait for their next layer. Done twice, it says the same.
pub(crate) async fn primer_clock(app: App, job: PrimerClock) -> Result<Counts, JobError> {
    let looked = ambient::primer_clock(&app, job.project).await.map_err(failed)?;
    Ok(Counts::of("warned", looked.warned).and("cleared", looked.cleared))
}
