use app::{App, jobs::FollowNonconformance, nonconformances};
use jobs::{Counts, JobError};

use super::failed;

/// Looks again at the joints of a nonconformance. Done twice, it says the same.
pub(crate) async fn follow_nonconformance(
    app: App,
    job: FollowNonconformance,
) -> Result<Counts, JobError> {
    let done = nonconformances::follow(&app, job.project, job.nonconformance).await;
    Ok(Counts::of("joints_looked_at", done.map_err(failed)?))
}
