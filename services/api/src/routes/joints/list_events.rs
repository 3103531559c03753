use actix_web::{
    get,
    web::{Data, Json, Path},
};
use app::{App, joints::FactView};

use super::JointPath;
use crate::{
    Problem,
    extract::{Permit, can},
    reply::Page,
};

/// The facts of a joint in the order of its chain, superseded ones included.
#[utoipa::path(
    tag = "joints",
    params(JointPath),
    responses((status = 200, body = Page<FactView>)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/joints/{joint}/events")]
pub async fn list_events(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
    path: Path<JointPath>,
) -> Result<Json<Page<FactView>>, Problem> {
    let facts = app::joints::facts(&app, &permit.project, &path.joint).await?;
    Ok(Json(Page::whole(facts)))
}
