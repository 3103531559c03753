use actix_web::{
    get,
    web::{Data, Json},
};
use app::{
    App,
    ambient::{MOST_DAYS, WorkableAsk, WorkableHours},
};
use serde::Deserialize;
use utoipa::IntoParams;

use crate::{
    Problem,
    extract::{Permit, ProjectPath, Query, can},
};

/// What to look at.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct WorkableHoursQuery {
    /// Code of one spread; all of them if absent.
    spread: Option<String>,
    /// Code of one coating system; all that the sections of a spread use if absent.
    system: Option<String>,
    /// How many days, today on site the first; 3 if absent.
    #[param(minimum = 1, maximum = 10)]
    days: Option<u32>,
}

/// Read which hours of the coming days each coating system may be applied in, and why not in the
/// others.
///
/// Of each hour the latest issue that tells it is believed. Steel follows the air with the lag of
/// the thickest wall among the sections of the spread that use the system. It begins with the
/// newest reading of the steel in the 4 h before the first hour, or with the air. The limits are
/// the strictest of the sections' inspection plans and of all materials of the system.
///
/// `share` is the part of the working day that is workable; hours that no outlook tells are not,
/// and stand in `untold_hours`. A forecast is no permission to work: what is read at the joint
/// decides.
#[utoipa::path(
    tag = "ambient",
    params(ProjectPath, WorkableHoursQuery),
    responses((status = 200, body = WorkableHours)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/ambient/workable-hours")]
pub async fn get_workable_hours(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
    query: Query<WorkableHoursQuery>,
) -> Result<Json<WorkableHours>, Problem> {
    let WorkableHoursQuery { spread, system, days } = query.0;
    let days = days.unwrap_or(3);
    if !(1..=MOST_DAYS).contains(&days) {
        let detail = format!("`days`: {days} is out of range: it must be from 1 to {MOST_DAYS}");
        return Err(Problem::bad_request("INVALID_PARAMETER", detail));
    }
    let ask = WorkableAsk { spread, system, days };
    Ok(Json(app::ambient::workable_hours(&app, &permit.project, &ask).await?))
}
