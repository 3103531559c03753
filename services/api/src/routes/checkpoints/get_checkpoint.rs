use actix_web::{
    get,
    web::{Data, Json, Path},
};
use app::{App, seal::CheckpointView};

use super::CheckpointPath;
use crate::{
    Problem,
    extract::{Permit, can},
};

/// One checkpoint with its signature and the public key.
#[utoipa::path(
    tag = "checkpoints",
    params(CheckpointPath),
    responses((status = 200, body = CheckpointView)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/checkpoints/{number}")]
pub async fn get_checkpoint(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
    path: Path<CheckpointPath>,
) -> Result<Json<CheckpointView>, Problem> {
    Ok(Json(app::seal::show(&app, &permit.project, path.number()?).await?))
}
