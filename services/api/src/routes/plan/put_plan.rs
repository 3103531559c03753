use actix_web::{HttpRequest, put, web::Data};
use app::App;
use domain::setup::ProductionPlan;

use crate::{
    Problem,
    extract::{IfMatch, LargeBody, Permit, ProjectPath, can},
    reply::Versioned,
};

/// Replace the production plan.
///
/// Send `If-Match` with the ETag of the version you have seen; it may be left out where there is
/// none yet.
#[utoipa::path(
    tag = "plan",
    params(
        ProjectPath,
        ("If-Match" = Option<String>, Header, description = "ETag, such as `\"v17\"`"),
    ),
    request_body = ProductionPlan,
    responses(
        (status = 200, body = Versioned<ProductionPlan>),
        (status = 201, body = Versioned<ProductionPlan>),
    ),
    security(("bearer" = [])),
)]
#[put("/v1/projects/{project}/plan")]
pub async fn put_plan(
    app: Data<App>,
    permit: Permit<can::ManageLine>,
    request: HttpRequest,
    seen: IfMatch,
    body: LargeBody<ProductionPlan>,
) -> Result<Versioned<ProductionPlan>, Problem> {
    let Permit { actor, project, .. } = &permit;
    let stored = app::plan::replace(&app, actor, project, body.0, seen.0)
        .await
        .map_err(|error| seen.explain(error))?;
    let view = Versioned::new(stored.item, stored.version);
    Ok(if stored.created { view.created_at(request.path()) } else { view })
}
