use actix_web::{get, web::Data};
use app::App;
use domain::setup::WorkingCalendar;

use crate::{
    Problem,
    extract::{Permit, ProjectPath, can},
    reply::Versioned,
};

/// Read the working calendar.
///
/// Where nobody has put one yet, it is Monday to Saturday, 07:00 to 18:00, at version 0.
#[utoipa::path(
    tag = "plan",
    params(ProjectPath),
    responses((status = 200, body = Versioned<WorkingCalendar>)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/calendar")]
pub async fn get_calendar(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
) -> Result<Versioned<WorkingCalendar>, Problem> {
    let Permit { actor, project, .. } = &permit;
    let stored = app::plan::current::<WorkingCalendar>(&app, actor, project).await?;
    Ok(Versioned::new(stored.item, stored.version))
}
