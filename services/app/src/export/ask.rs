//! Asks for a copy, shows how far it has come, and hands it out.

use chrono::TimeDelta;
use domain::access::Permission;
use futures_util::{Stream, stream};
use store::{exports::Export, read_audit::Asked};
use uuid::Uuid;

use crate::{
    Actor, App, AppError,
    jobs::{RunExport, not_enqueued},
    new_id,
    projects::ProjectEntry,
};

/// So long a copy can be fetched.
pub(crate) const KEPT: TimeDelta = TimeDelta::days(7);

/// A copy that is not made by then, with all attempts of its job, holds up no other.
const GIVEN_UP: TimeDelta = TimeDelta::hours(6);

/// Asks for a copy of the project; a job makes it.
pub async fn ask(app: &App, actor: &Actor, project: &ProjectEntry) -> Result<Export, AppError> {
    project.require(Permission::ExportProject)?;
    let now = app.clock.now();
    let id = new_id(now);
    let mut tx = app.begin_in(project.id).await?;
    // Two who ask at once take turns.
    store::projects::lock(&mut tx, project.id).await?;
    let since = now - GIVEN_UP;
    if store::exports::is_under_way(&mut tx, project.id, since).await? {
        let detail = "a copy of this project is being made: wait for it and fetch that one";
        return Err(AppError::Conflict { code: "EXPORT_UNDER_WAY", detail: detail.to_owned() });
    }
    store::exports::insert(&mut tx, project.id, id, actor.user, now).await?;
    let job = RunExport { project: project.id, export: id };
    ::jobs::enqueue(&mut tx, &job).await.map_err(not_enqueued)?;
    let asked = find(&mut tx, project, id).await?;
    app.commit(tx).await?;
    tracing::info!(project.id = %project.id, user.id = %actor.user, "export {id} was asked for");
    Ok(asked)
}

/// How far a copy has come.
pub async fn show(app: &App, project: &ProjectEntry, id: Uuid) -> Result<Export, AppError> {
    project.require(Permission::ExportProject)?;
    let mut tx = app.begin_in(project.id).await?;
    find(&mut tx, project, id).await
}

async fn find(tx: &mut store::Tx, project: &ProjectEntry, id: Uuid) -> Result<Export, AppError> {
    let found = store::exports::find(tx, project.id, id).await?;
    found.ok_or_else(|| AppError::not_found(format!("export {id}")))
}

/// The parts of an archive that is done, one after the other; who fetches it is noted first.
pub async fn download(
    app: &App,
    project: &ProjectEntry,
    id: Uuid,
    asked: &Asked,
) -> Result<(Export, impl Stream<Item = Result<Vec<u8>, AppError>> + use<>), AppError> {
    project.require(Permission::ExportProject)?;
    let now = app.clock.now();
    let mut tx = app.begin_in(project.id).await?;
    let export = find(&mut tx, project, id).await?;
    match export.status.as_str() {
        "done" => {}
        "expired" => {
            let detail = "the copy was kept for seven days: ask for a new one".to_owned();
            return Err(AppError::Gone { code: "EXPORT_EXPIRED", detail });
        }
        other => {
            let detail = format!("the copy is {other}, not done: read the export to see why");
            return Err(AppError::Conflict { code: "EXPORT_NOT_DONE", detail });
        }
    }
    let what = ("export", id.to_string(), export.rows_done);
    let told = (what.0, what.1.as_str(), what.2);
    store::read_audit::insert(&mut tx, project.id, (new_id(now), now), told, asked).await?;
    app.commit(tx).await?;
    let (app, project) = (app.clone(), project.id);
    // A transaction for each part: a slow reader must hold none.
    let parts = stream::try_unfold(0, move |part| {
        let app = app.clone();
        async move {
            let mut tx = app.begin_in(project).await?;
            let bytes = store::exports::part(&mut tx, project, id, part).await?;
            Ok(bytes.map(|bytes| (bytes, part + 1)))
        }
    });
    Ok((export, parts))
}
