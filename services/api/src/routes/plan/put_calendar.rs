use actix_web::{HttpRequest, put, web::Data};
use app::App;
use domain::setup::WorkingCalendar;

use crate::{
    Problem,
    extract::{Body, IfMatch, Permit, ProjectPath, can},
    reply::Versioned,
};

/// Replace the working calendar.
///
/// Send `If-Match` with the ETag of the version you have seen; it may be left out where there is
/// none yet.
#[utoipa::path(
    tag = "plan",
    params(
        ProjectPath,
        ("If-Match" = Option<String>, Header, description = "ETag, such as `\"v17\"`"),
    ),
    request_body = WorkingCalendar,
    responses(
        (status = 200, body = Versioned<WorkingCalendar>),
        (status = 201, body = Versioned<WorkingCalendar>),
    ),
    security(("bearer" = [])),
)]
#[put("/v1/projects/{project}/calendar")]
pub async fn put_calendar(
    app: Data<App>,
    permit: Permit<can::ManageLine>,
    request: HttpRequest,
    seen: IfMatch,
    body: Body<WorkingCalendar>,
) -> Result<Versioned<WorkingCalendar>, Problem> {
    let Permit { actor, project, .. } = &permit;
    let stored = app::plan::replace(&app, actor, project, body.0, seen.0)
        .await
        .map_err(|error| seen.explain(error))?;
    let view = Versioned::new(stored.item, stored.version);
    Ok(if stored.created { view.created_at(request.path()) } else { view })
}
