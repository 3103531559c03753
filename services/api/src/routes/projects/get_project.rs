use actix_web::{get, web::Json};

use super::ProjectView;
use crate::{
    Problem,
    extract::{Permit, ProjectPath, can},
};

/// Read a project.
#[utoipa::path(
    tag = "projects",
    params(ProjectPath),
    responses((status = 200, body = ProjectView)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}")]
pub async fn get_project(permit: Permit<can::ReadProject>) -> Result<Json<ProjectView>, Problem> {
    Ok(Json(permit.project.into()))
}
