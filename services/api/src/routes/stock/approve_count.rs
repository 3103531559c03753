use actix_web::{
    post,
    web::{Data, Json, Path},
};
use app::{App, stock::CountView};
use serde::Deserialize;
use utoipa::IntoParams;

use crate::{
    Problem,
    extract::{Permit, can},
};

/// A count in a project.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct CountPath {
    /// Id or code of the project.
    #[serde(rename = "project")]
    #[param(rename = "project")]
    _project: String,
    /// Id of the count.
    id: String,
}

/// Approve what waits in a count: the book is put right.
///
/// By somebody else than who counted: 409 `SAME_PERSON`.
#[utoipa::path(
    tag = "stock",
    params(CountPath),
    responses((status = 200, body = CountView)),
    security(("bearer" = [])),
)]
#[post("/v1/projects/{project}/stock/counts/{id}/approval")]
pub async fn approve_count(
    app: Data<App>,
    permit: Permit<can::ManageMaterials>,
    path: Path<CountPath>,
) -> Result<Json<CountView>, Problem> {
    let Permit { actor, project, .. } = permit;
    // What is no id names no count.
    let id = path.id.parse().map_err(|_| Problem::not_found(&format!("count {}", path.id)))?;
    let approved = app::stock::approve_count(&app, &actor, &project, id).await?;
    Ok(Json(approved))
}
