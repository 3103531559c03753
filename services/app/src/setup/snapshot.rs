//! The whole set-up of a project, as the judgements need it.

use std::sync::Arc;

use domain::{ids::ProjectId, setup::ProjectSetup};
use store::{PgConnection, StoreError};

use crate::{App, AppError};

/// The set-up of `project` as it is now.
///
/// Never in a transaction that has changed the set-up: rolled back, what it saw would stay in the
/// cache under a version that the next change gets.
pub async fn snapshot(
    app: &App,
    conn: &mut PgConnection,
    project: ProjectId,
) -> Result<Arc<ProjectSetup>, AppError> {
    let version = store::projects::setup_version(conn, project)
        .await?
        .ok_or_else(|| AppError::not_found(format!("project {project}")))?;
    snapshot_at(app, conn, project, version).await
}

/// The set-up of `project` at `setup_version` or later; for callers who have just read it.
pub async fn snapshot_at(
    app: &App,
    conn: &mut PgConnection,
    project: ProjectId,
    setup_version: i64,
) -> Result<Arc<ProjectSetup>, AppError> {
    if let Some(kept) = app.setups.get(project, setup_version) {
        return Ok(kept);
    }
    let all = store::setup::everything(conn, project)
        .await?
        .ok_or_else(|| AppError::not_found(format!("project {project}")))?;
    let time_zone = all
        .time_zone
        .parse()
        .map_err(|_| StoreError::inconsistent("projects", project, "unknown time zone"))?;
    let mut setup = ProjectSetup::empty(time_zone);
    for (kind, code, body) in all.items {
        let id = format!("{project} {} {code}", kind.name());
        setup
            .insert(kind, code, body)
            .map_err(|error| StoreError::inconsistent("setup_items", id, error))?;
    }
    let setup = Arc::new(setup);
    app.setups.keep(project, all.setup_version, &setup);
    Ok(setup)
}
