use app::{App, jobs::FollowRecall, lots};
use jobs::{Counts, JobError};

use super::failed;

/// Looks again at the joints of a lot. Done twice, it says the same.
pub(crate) async fn follow_recall(app: App, job: FollowRecall) -> Result<Counts, JobError> {
    let done = lots::follow_recall(&app, job.project, &job.lot).await.map_err(failed)?;
    Ok(Counts::of("joints_looked_at", done.looked_at))
}
