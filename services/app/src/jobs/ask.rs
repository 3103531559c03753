//! Asks for a run of a job now.

use ::jobs::JobPayload;
use domain::access::Permission;

use super::{
    AmbientCheck, PostConsumption, PrimerClock, ReleaseFreshness, RepairRate, Seal, StockCheck,
    not_enqueued,
};
use crate::{App, AppError, projects::ProjectEntry};

/// Asks for a run of the job `name` of a project and returns the id of the job.
///
/// An import is asked for by its upload, and what works for the whole server is no project's.
pub async fn ask(app: &App, project: &ProjectEntry, name: &str) -> Result<String, AppError> {
    project.require(Permission::RunJobs)?;
    let project = project.id;
    let mut tx = app.begin_in(project).await?;
    let asked = match name {
        ReleaseFreshness::QUEUE => ::jobs::enqueue(&mut tx, &ReleaseFreshness { project }).await,
        PostConsumption::QUEUE => ::jobs::enqueue(&mut tx, &PostConsumption { project }).await,
        StockCheck::QUEUE => ::jobs::enqueue(&mut tx, &StockCheck { project }).await,
        AmbientCheck::QUEUE => ::jobs::enqueue(&mut tx, &AmbientCheck { project }).await,
        PrimerClock::QUEUE => ::jobs::enqueue(&mut tx, &PrimerClock { project }).await,
        RepairRate::QUEUE => ::jobs::enqueue(&mut tx, &RepairRate { project }).await,
        Seal::QUEUE => ::jobs::enqueue(&mut tx, &Seal { project }).await,
        _ => {
            let known = [
                ReleaseFreshness::QUEUE,
                PostConsumption::QUEUE,
                StockCheck::QUEUE,
                AmbientCheck::QUEUE,
                PrimerClock::QUEUE,
                RepairRate::QUEUE,
                Seal::QUEUE,
            ];
            let known = known.join(", ");
            return Err(AppError::not_found(format!("job {name} to ask for; there are {known}")));
        }
    };
    let id = asked.map_err(not_enqueued)?;
    app.commit(tx).await?;
    Ok(id.to_string())
}
