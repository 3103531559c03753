use actix_web::{get, web::Data};
use app::App;
use domain::setup::ProductionPlan;

use crate::{
    Problem,
    extract::{Permit, ProjectPath, can},
    reply::Versioned,
};

/// Read the production plan.
///
/// Where nobody has put one yet, it is empty, at version 0.
#[utoipa::path(
    tag = "plan",
    params(ProjectPath),
    responses((status = 200, body = Versioned<ProductionPlan>)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/plan")]
pub async fn get_plan(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
) -> Result<Versioned<ProductionPlan>, Problem> {
    let Permit { actor, project, .. } = &permit;
    let stored = app::plan::current::<ProductionPlan>(&app, actor, project).await?;
    Ok(Versioned::new(stored.item, stored.version))
}
