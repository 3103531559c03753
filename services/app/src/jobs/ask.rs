//! Asks for a run of a job now.

use ::jobs::JobPayload;
use domain::access::Permission;

use super::{PostConsumption, ReleaseFreshness, not_enqueued};
use crate::{App, AppError, projects::ProjectEntry};

/// Asks for a run of the job `name` of a project and returns the id of the job.
///
/// An import is asked for by its upload, and what works for the whole server is no project's.
pub async fn ask(app: &App, project: &ProjectEntry, name: &str) -> Result<String, AppError> {
    project.require(Permission::RunJobs)?;
    let known = [ReleaseFreshness::QUEUE, PostConsumption::QUEUE];
    let project = project.id;
    let mut tx = app.begin_in(project).await?;
    let asked = if name == ReleaseFreshness::QUEUE {
        ::jobs::enqueue(&mut tx, &ReleaseFreshness { project }).await
    } else if name == PostConsumption::QUEUE {
        ::jobs::enqueue(&mut tx, &PostConsumption { project }).await
    } else {
        let known = known.join(" and ");
        return Err(AppError::not_found(format!("job {name} to ask for; there are {known}")));
    };
    let id = asked.map_err(not_enqueued)?;
    app.commit(tx).await?;
    Ok(id.to_string())
}
