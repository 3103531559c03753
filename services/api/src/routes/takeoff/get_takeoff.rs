use actix_web::{
    get,
    web::{Data, Json},
};
use app::{App, takeoff::Takeoff};
use serde::Deserialize;
use utoipa::IntoParams;

use crate::{
    Problem,
    extract::{Permit, ProjectPath, Query, can},
};

/// Of what.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct TakeoffParams {
    /// Code of a section; the whole project if absent.
    #[param(max_length = 40)]
    section: Option<String>,
}

/// Read what the joints of a section or of the project take together, material by material.
///
/// Quantities are with waste and loss. Rolls are cut joint by joint, with every remnant scrapped
/// and with those that are long enough joined on.
#[utoipa::path(
    tag = "take-off",
    params(ProjectPath, TakeoffParams),
    responses((status = 200, body = Takeoff)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/takeoff")]
pub async fn get_takeoff(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
    params: Query<TakeoffParams>,
) -> Result<Json<Takeoff>, Problem> {
    let section = params.0.section.as_deref();
    Ok(Json(app::takeoff::of_project(&app, &permit.project, section).await?))
}
