use actix_web::{
    HttpRequest, get,
    web::{Data, Json, Path},
};
use app::{App, releases::ReleaseView};
use domain::ids::ReleaseId;
use serde::Deserialize;
use utoipa::IntoParams;

use crate::{
    Problem,
    extract::{Permit, asked, can},
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
///
/// Who reads it is noted in the audit of readings.
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
    request: HttpRequest,
) -> Result<Json<ReleaseView>, Problem> {
    let Permit { actor, project, .. } = permit;
    let shown = app::releases::show(&app, &project, path.release).await?;
    let what = ("certificate", shown.id.to_string());
    let asked = asked(&request, &actor);
    app::reads::note(&app, project.id, (what.0, &what.1, 1), &asked).await?;
    Ok(Json(shown))
}
