use actix_web::{post, web::Data};
use app::{
    App,
    projects::{NewProject, UnitSystem},
};
use domain::schema::Validate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::{ProjectView, views::Units};
use crate::{
    Problem,
    extract::{Body, SignedIn},
    reply::{Created, segment},
};

/// A new project.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ProjectRequest {
    /// Code, unique on the server.
    #[schema(min_length = 1, max_length = 40)]
    code: String,
    /// Name for people.
    #[schema(min_length = 1, max_length = 200)]
    name: String,
    /// The zone in which calendar days are judged.
    #[schema(example = "Europe/Vienna", max_length = 64)]
    time_zone: String,
    /// Units that people see; whatever they are, the API speaks SI.
    #[serde(default)]
    units: Units,
}

impl Validate for ProjectRequest {}

/// Create a project; you become its administrator.
///
/// Only an administrator of the server may.
#[utoipa::path(
    tag = "projects",
    request_body = ProjectRequest,
    responses((status = 201, body = ProjectView)),
    security(("bearer" = [])),
)]
#[post("/v1/projects")]
pub async fn create_project(
    app: Data<App>,
    signed_in: SignedIn,
    body: Body<ProjectRequest>,
) -> Result<Created<ProjectView>, Problem> {
    let ProjectRequest { code, name, time_zone, units } = body.0;
    let units = UnitSystem::from(units).name().to_owned();
    let new = NewProject { code, name, time_zone, units };
    let project = app::projects::create(&app, &signed_in.actor, new).await?;
    Ok(Created::at(format!("/v1/projects/{}", segment(&project.code)), project.into()))
}
