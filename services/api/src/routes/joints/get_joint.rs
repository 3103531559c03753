use actix_web::{
    get,
    web::{Data, Json, Path},
};
use app::{App, joints::JointView};

use super::JointPath;
use crate::{
    Problem,
    extract::{Permit, can},
};

/// One joint: its stage, its gates, and what to do next.
///
/// Gates and next steps are judged at the moment of the request.
#[utoipa::path(
    tag = "joints",
    params(JointPath),
    responses((status = 200, body = JointView)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/joints/{joint}")]
pub async fn get_joint(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
    path: Path<JointPath>,
) -> Result<Json<JointView>, Problem> {
    Ok(Json(app::joints::show(&app, &permit.project, &path.joint).await?))
}
