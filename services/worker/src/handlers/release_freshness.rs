use app::{App, jobs::ReleaseFreshness, upkeep};
use jobs::{Counts, JobError};

use super::failed;

/// Warns of releases whose test grows stale. Done twice, it says the same.
pub(crate) async fn release_freshness(app: App, job: ReleaseFreshness) -> Result<Counts, JobError> {
    let found = upkeep::release_freshness(&app, job.project).await.map_err(failed)?;
    Ok(Counts::of("looked_at", found.looked_at)
        .and("warned", found.warned)
        .and("cleared", found.cleared))
}
