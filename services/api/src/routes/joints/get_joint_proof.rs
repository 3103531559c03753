use actix_web::{
    get,
    web::{Data, Json, Path},
};
use app::{App, seal::ProofView};

use super::JointPath;
use crate::{
    Problem,
    extract::{Permit, can},
};

/// The proof that the newest checkpoint covers the records of a joint.
///
/// With the leaf, its path and the signed root anybody can check it without this server (RFC 9162,
/// section 2.1.3.2). It proves that the records are the ones that were sealed, not that what they
/// say is true.
#[utoipa::path(
    tag = "joints",
    params(JointPath),
    responses((status = 200, body = ProofView)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/joints/{joint}/proof")]
pub async fn get_joint_proof(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
    path: Path<JointPath>,
) -> Result<Json<ProofView>, Problem> {
    Ok(Json(app::seal::proof(&app, &permit.project, &path.joint).await?))
}
