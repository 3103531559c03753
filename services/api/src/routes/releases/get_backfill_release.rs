use actix_web::{
    get,
    web::{Data, Json, Path},
};
use app::{App, releases::ReleaseView};
use domain::ids::ReleaseId;
use serde::Deserialize;
use utoipa::IntoParams;

use crate::{
    Problem,
    extract::{Permit, can},
};

/// A release.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct ReleasePath {
    /// Id or code of the project.
    #[expect(dead_code, reason = "the permit reads it")]
    project: String,
    /// Id of the release.
    release: ReleaseId,
}

/// A release with everything that its certificate prints.
#[utoipa::path(
    tag = "releases",
    params(ReleasePath),
    responses((status = 200, body = ReleaseView)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/backfill-releases/{release}")]
pub async fn get_backfill_release(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
    path: Path<ReleasePath>,
) -> Result<Json<ReleaseView>, Problem> {
    Ok(Json(app::releases::show(&app, &permit.project, path.release).await?))
}
