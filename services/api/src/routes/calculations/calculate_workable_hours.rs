use actix_web::{post, web::Json};
use calculators::{WorkableHoursAnswer, WorkableHoursRequest};

use super::{LongBody, answer_aside};
use crate::{Problem, extract::Metered};

/// Which hours of an outlook can be worked in.
#[utoipa::path(
    tag = "calculations",
    request_body = WorkableHoursRequest,
    responses((status = 200, body = WorkableHoursAnswer)),
    security(()),
)]
#[post("/v1/calculations/workable-hours")]
pub async fn calculate_workable_hours(
    _: Metered,
    body: LongBody<WorkableHoursRequest>,
) -> Result<Json<WorkableHoursAnswer>, Problem> {
    answer_aside(body.0).await
}
