//! Lists what became of the jobs.

use ::jobs::{JobRun, RunFilter};
use store::error::database;

use crate::{App, AppError, projects::ProjectEntry};

/// The latest attempts at jobs of a project first, at most `limit`.
pub async fn list(
    app: &App,
    project: &ProjectEntry,
    filter: RunFilter,
    limit: u32,
) -> Result<Vec<JobRun>, AppError> {
    // Whatever the filter says: other projects' jobs are nobody's business here.
    let filter = RunFilter { project_id: Some(project.id.0), ..filter };
    let mut conn = app.begin_in(project.id).await?;
    let runs = ::jobs::list_runs(&mut conn, &filter, limit).await;
    Ok(runs.map_err(database("list the runs of jobs"))?)
}
