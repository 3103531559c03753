use actix_web::{HttpResponse, http::header, post, web::Data};
use app::App;

use super::ExportView;
use crate::{
    Problem,
    extract::{Permit, ProjectPath, can},
    reply::segment,
};

/// Ask for a copy of the whole project: records, releases, nonconformances, stock, set-up, weather
/// and checkpoints, with a signed manifest.
///
/// A job makes it; read the export to see how far it has come, then download it. It can be checked
/// without this server: `jointward verify --bundle FILE`.
#[utoipa::path(
    tag = "exports",
    params(ProjectPath),
    responses((status = 202, body = ExportView, headers(("Location" = String)))),
    security(("bearer" = [])),
)]
#[post("/v1/projects/{project}/exports")]
pub async fn create_export(
    app: Data<App>,
    permit: Permit<can::ExportProject>,
) -> Result<HttpResponse, Problem> {
    let Permit { actor, project, .. } = permit;
    let export = app::export::ask(&app, &actor, &project).await?;
    let location = format!("/v1/projects/{}/exports/{}", segment(&project.code), export.id);
    Ok(HttpResponse::Accepted()
        .insert_header((header::LOCATION, location))
        .json(ExportView::from(export)))
}
