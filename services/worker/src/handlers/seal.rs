use app::{App, jobs::Seal};
use jobs::{Counts, JobError};

use super::{count, failed};

/// Seals a project for today. Done twice, it changes nothing.
pub(crate) async fn seal(app: App, job: Seal) -> Result<Counts, JobError> {
    let made = app::seal::seal(&app, job.project).await.map_err(failed)?;
    Ok(Counts::of("checkpoint", made.number)
        .and("new", i64::from(made.is_new))
        .and("joints_contradicted", count(made.contradicted))
        .and("files_published", count(made.published)))
}
