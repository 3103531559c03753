use app::{App, jobs::RunExport};
use jobs::{Counts, JobError};

use super::failed;

/// Makes a copy of a project. Done twice, the first one is kept.
pub(crate) async fn run_export(app: App, job: RunExport) -> Result<Counts, JobError> {
    let done = app::export::run(&app, job.project, job.export).await.map_err(failed)?;
    Ok(Counts::of("rows", done.rows_done).and("bytes", done.bytes))
}
