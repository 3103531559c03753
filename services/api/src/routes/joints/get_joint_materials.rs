use actix_web::{
    get,
    web::{Data, Json, Path},
};
use app::{App, lots::JointMaterials};

use super::JointPath;
use crate::{
    Problem,
    extract::{Permit, can},
};

/// Read what a joint is made of: every lot of it, fact by fact.
///
/// Entries that were superseded are left out; what was cleaned off since is marked.
#[utoipa::path(
    tag = "joints",
    params(JointPath),
    responses((status = 200, body = JointMaterials)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/joints/{joint}/materials")]
pub async fn get_joint_materials(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
    path: Path<JointPath>,
) -> Result<Json<JointMaterials>, Problem> {
    Ok(Json(app::lots::materials(&app, &permit.project, &path.joint).await?))
}
