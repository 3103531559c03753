use actix_web::{
    get,
    web::{Data, Json, Path},
};
use app::{App, ambient::OutlookView};
use serde::Deserialize;
use utoipa::IntoParams;

use crate::{
    Problem,
    extract::{Permit, can},
};

/// An outlook of the weather.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct AmbientOutlookPath {
    /// Id or code of the project.
    #[serde(rename = "project")]
    #[param(rename = "project")]
    _project: String,
    /// Id of the outlook.
    outlook: String,
}

/// Read an outlook of the weather with its hours.
#[utoipa::path(
    tag = "ambient",
    params(AmbientOutlookPath),
    responses((status = 200, body = OutlookView)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/ambient/outlooks/{outlook}")]
pub async fn get_ambient_outlook(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
    path: Path<AmbientOutlookPath>,
) -> Result<Json<OutlookView>, Problem> {
    let outlook = &path.outlook;
    let id = outlook.parse().map_err(|_| Problem::not_found(&format!("outlook {outlook}")))?;
    Ok(Json(app::ambient::show_outlook(&app, &permit.project, id).await?))
}
