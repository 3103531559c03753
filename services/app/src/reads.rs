//! Who took copies out of a project.
//!
//! What is noted: the download of an export, an export on the command line of the server, and the
//! certificate of a release. An administrator of the server opens no project without being a member
//! of it, so there are no other readings across projects.

use domain::access::Permission;
use store::read_audit::{Asked, Reading};
use uuid::Uuid;

use crate::{App, AppError, new_id, projects::ProjectEntry};

/// Readings before id `before`, the newest first.
pub async fn list(
    app: &App,
    project: &ProjectEntry,
    before: Option<Uuid>,
    limit: u32,
) -> Result<Vec<Reading>, AppError> {
    project.require(Permission::ReadAudit)?;
    let mut tx = app.begin_in(project.id).await?;
    Ok(store::read_audit::list(&mut tx, project.id, before, limit.into()).await?)
}

/// Notes that `rows` records of `subject` leave the project. Whoever hands them out waits for it:
/// without the note there is no reading.
pub async fn note(
    app: &App,
    project: domain::ids::ProjectId,
    (what, subject, rows): (&str, &str, i64),
    asked: &Asked,
) -> Result<(), AppError> {
    let now = app.clock.now();
    let mut tx = app.begin_in(project).await?;
    let told = (what, subject, rows);
    store::read_audit::insert(&mut tx, project, (new_id(now), now), told, asked).await?;
    app.commit(tx).await
}
