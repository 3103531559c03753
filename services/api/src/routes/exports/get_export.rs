use actix_web::{
    get,
    web::{Data, Json, Path},
};
use app::App;

use super::{ExportPath, ExportView};
use crate::{
    Problem,
    extract::{Permit, can},
};

/// Read how far a copy has come.
#[utoipa::path(
    tag = "exports",
    params(ExportPath),
    responses((status = 200, body = ExportView)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/exports/{id}")]
pub async fn get_export(
    app: Data<App>,
    permit: Permit<can::ExportProject>,
    path: Path<ExportPath>,
) -> Result<Json<ExportView>, Problem> {
    Ok(Json(app::export::show(&app, &permit.project, path.id()?).await?.into()))
}
