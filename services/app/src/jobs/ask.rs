//! Asks for a run of a job now.

use ::jobs::JobPayload;
use domain::access::Permission;

use super::{ReleaseFreshness, not_enqueued};
use crate::{App, AppError, projects::ProjectEntry};

/// Asks for a run of the job `name` of a project and returns the id of the job.
///
/// An import is asked for by its upload, and what works for the whole server is no project's.
pub async fn ask(app: &App, project: &ProjectEntry, name: &str) -> Result<String, AppError> {
    project.require(Permission::RunJobs)?;
    let known = ReleaseFreshness::QUEUE;
    if name != known {
        return Err(AppError::not_found(format!("job {name} to ask for; there is {known}")));
    }
    let mut tx = app.begin_in(project.id).await?;
    let job = ReleaseFreshness { project: project.id };
    let id = ::jobs::enqueue(&mut tx, &job).await.map_err(not_enqueued)?;
    app.commit(tx).await?;
    Ok(id.to_string())
}
