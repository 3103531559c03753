use app::{App, ambient, jobs::AmbientCheck};
use jobs::{Counts, JobError};

use super::failed;

/// Looks at the weather of a project. Done twice, it says the same.
pub(crate) async fn ambient_check(app: App, job: AmbientCheck) -> Result<Counts, JobError> {
    let looked = ambient::ambient_check(&app, job.project).await.map_err(failed)?;
    Ok(Counts::of("warned", looked.warned).and("cleared", looked.cleared))
}
