use app::{App, imports, jobs::RunImport};
use jobs::{Counts, JobError};

use super::failed;

/// Reads an uploaded file.
///
/// Every step locks the import and is taken once, so a second worker does no harm.
pub(crate) async fn run_import(app: App, job: RunImport) -> Result<Counts, JobError> {
    let RunImport { project, import } = job;
    let progress = |it: &store::imports::Import| {
        tracing::debug!(rows = it.rows_checked, wrong = it.rows_wrong, "import {import} goes on");
    };
    let done = imports::run(&app, project, import, progress).await.map_err(failed)?;
    Ok(Counts::of("rows_checked", done.rows_checked)
        .and("rows_wrong", done.rows_wrong)
        .and("rows_stored", done.rows_stored))
}
