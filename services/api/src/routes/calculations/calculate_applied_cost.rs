use actix_web::{post, web::Json};
use calculators::{AppliedCostAnswer, AppliedCostRequest};

use super::answer;
use crate::{
    Problem,
    extract::{LargeBody, Metered},
};

/// What coating systems cost when they are on the pipe.
#[utoipa::path(
    tag = "calculations",
    request_body = AppliedCostRequest,
    responses((status = 200, body = AppliedCostAnswer)),
    security(()),
)]
#[post("/v1/calculations/applied-cost")]
pub async fn calculate_applied_cost(
    _: Metered,
    body: LargeBody<AppliedCostRequest>,
) -> Result<Json<AppliedCostAnswer>, Problem> {
    answer(&body.0)
}
