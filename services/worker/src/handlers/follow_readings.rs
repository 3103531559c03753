use app::{App, ambient, jobs::FollowReadings};
use jobs::{Counts, JobError};

use super::failed;

/// Looks again at the joints that readings can speak for. Done twice, it says the same.
pub(crate) async fn follow_readings(app: App, job: FollowReadings) -> Result<Counts, JobError> {
    let done = ambient::follow_readings(&app, &job).await.map_err(failed)?;
    Ok(Counts::of("joints_judged", done.judged).and("releases_contradicted", done.contradicted))
}
