use actix_web::{
    get,
    web::{Data, Json, Path},
};
use app::App;
use domain::takeoff::JointNeed;

use super::JointPath;
use crate::{
    Problem,
    extract::{Permit, can},
};

/// Read what a joint takes: tape, primer and mastic of its coating system, layer by layer.
///
/// What the set-up does not tell is named under `unknown`.
#[utoipa::path(
    tag = "take-off",
    params(JointPath),
    responses((status = 200, body = JointNeed)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/joints/{joint}/takeoff")]
pub async fn get_joint_takeoff(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
    path: Path<JointPath>,
) -> Result<Json<JointNeed>, Problem> {
    Ok(Json(app::takeoff::of_joint(&app, &permit.project, &path.joint).await?))
}
