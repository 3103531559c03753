use actix_web::{post, web::Json};
use calculators::{ProportionIntervalAnswer, ProportionIntervalRequest};

use super::answer;
use crate::{
    Problem,
    extract::{Body, Metered},
};

/// How far a share seen in a sample can be trusted.
#[utoipa::path(
    tag = "calculations",
    request_body = ProportionIntervalRequest,
    responses((status = 200, body = ProportionIntervalAnswer)),
    security(()),
)]
#[post("/v1/calculations/proportion-interval")]
pub async fn calculate_proportion_interval(
    _: Metered,
    body: Body<ProportionIntervalRequest>,
) -> Result<Json<ProportionIntervalAnswer>, Problem> {
    answer(&body.0)
}
