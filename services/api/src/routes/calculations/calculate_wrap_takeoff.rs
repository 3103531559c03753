use actix_web::{post, web::Json};
use calculators::{WrapTakeoffAnswer, WrapTakeoffRequest};

use super::answer;
use crate::{
    Problem,
    extract::{Body, Metered},
};

/// Tape for one joint.
#[utoipa::path(
    tag = "calculations",
    request_body = WrapTakeoffRequest,
    responses((status = 200, body = WrapTakeoffAnswer)),
    security(()),
)]
#[post("/v1/calculations/wrap-takeoff")]
pub async fn calculate_wrap_takeoff(
    _: Metered,
    body: Body<WrapTakeoffRequest>,
) -> Result<Json<WrapTakeoffAnswer>, Problem> {
    answer(&body.0)
}
