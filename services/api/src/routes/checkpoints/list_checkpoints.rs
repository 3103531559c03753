use actix_web::{
    get,
    web::{Data, Json},
};
use app::{App, seal::CheckpointView};

use crate::{
    Problem,
    extract::{Paging, Permit, ProjectPath, Query, can},
    reply::Page,
};

/// List the checkpoints that seal the records of a project, the newest first.
///
/// Each is signed and names the one before it by its hash. Whoever keeps one elsewhere, or only its
/// hash, can tell later whether a record that it covers was changed, taken away or put in.
#[utoipa::path(
    tag = "checkpoints",
    params(ProjectPath, Paging),
    responses((status = 200, body = Page<CheckpointView>)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/checkpoints")]
pub async fn list_checkpoints(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
    paging: Query<Paging>,
) -> Result<Json<Page<CheckpointView>>, Problem> {
    let limit = paging.0.limit();
    let before = paging.0.position()?;
    let found = app::seal::list(&app, &permit.project, before, limit + 1).await?;
    Ok(Json(Page::cut(found, limit, |it| it.number)))
}
