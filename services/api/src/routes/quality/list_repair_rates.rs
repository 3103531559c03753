use actix_web::{
    get,
    web::{Data, Json},
};
use app::{App, AppError, quality::RepairRates};
use chrono::NaiveDate;
use domain::quality::By;
use serde::Deserialize;
use utoipa::IntoParams;

use crate::{
    Problem,
    extract::{Permit, ProjectPath, Query, can},
};

/// Which rates.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct RepairRateParams {
    /// By what they are told apart.
    #[param(inline)]
    by: By,
    /// The first day; 41 days before `to` if absent, at most 1095.
    from: Option<NaiveDate>,
    /// The last day; today if absent or later.
    to: Option<NaiveDate>,
    /// Of this crew, applicator, system, lot or shift alone.
    of: Option<String>,
}

/// Read how often coatings had to be repaired, with the limits of chance beside it.
///
/// A coating counts once, on the day of its first holiday test after its last layer. It did not
/// conform where that test failed, or where it was repaired or failed a test before it had passed
/// one. The chart has a point for each day; where a day of a week has under 5 joints, the week is
/// one point. A point outside its limits is a reason to look at the work, and no judgement of
/// anybody; where few failures are expected in a point, the limits are rough.
#[utoipa::path(
    tag = "quality",
    params(ProjectPath, RepairRateParams),
    responses((status = 200, body = RepairRates)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/quality/repair-rates")]
pub async fn list_repair_rates(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
    params: Query<RepairRateParams>,
) -> Result<Json<RepairRates>, Problem> {
    let RepairRateParams { by, from, to, of } = params.0;
    let of = of.as_deref();
    let rates = app::quality::repair_rates(&app, &permit.project, by, (from, to), of).await;
    // What is wrong in a query is 400, also where only two of its values together are wrong.
    Ok(Json(rates.map_err(|error| match error {
        AppError::Invalid(faults) => {
            let detail = faults.iter().map(|it| it.detail.as_str()).collect::<Vec<_>>().join("; ");
            Problem::bad_request("INVALID_PARAMETER", detail).with_errors(faults)
        }
        other => other.into(),
    })?))
}
