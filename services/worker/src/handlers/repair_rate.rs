use app::{App, jobs::RepairRate, quality};
use jobs::{Counts, JobError};

use super::failed;

/// Looks at the repair rates of a project. Done twice, it says the same.
pub(crate) async fn repair_rate(app: App, job: RepairRate) -> Result<Counts, JobError> {
    let looked = quality::repair_rate(&app, job.project).await.map_err(failed)?;
    let counts = Counts::of("crews", looked.crews);
    Ok(counts.and("warned", looked.warned).and("cleared", looked.cleared))
}
