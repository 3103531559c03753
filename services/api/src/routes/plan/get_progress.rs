use actix_web::{
    get,
    web::{Data, Json},
};
use app::{App, plan::Progress};
use chrono::NaiveDate;
use serde::Deserialize;
use utoipa::IntoParams;

use crate::{
    Problem,
    extract::{Permit, ProjectPath, Query, can},
};

/// Which days.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct ProgressParams {
    /// The first day; 41 days before `to` if absent.
    from: Option<NaiveDate>,
    /// The last day; today if absent or later.
    to: Option<NaiveDate>,
}

/// Read what each spread has made, with the plan beside it, and how fast it is.
///
/// A joint is made when its first tape goes on; entries that were withdrawn do not count.
#[utoipa::path(
    tag = "plan",
    params(ProjectPath, ProgressParams),
    responses((status = 200, body = Progress)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/plan/progress")]
pub async fn get_progress(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
    params: Query<ProgressParams>,
) -> Result<Json<Progress>, Problem> {
    let ProgressParams { from, to } = params.0;
    Ok(Json(app::plan::progress(&app, &permit.project, from, to).await?))
}
