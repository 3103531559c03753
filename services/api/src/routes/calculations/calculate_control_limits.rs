use actix_web::{post, web::Json};
use calculators::{ControlLimitsAnswer, ControlLimitsRequest};

use super::answer;
use crate::{
    Problem,
    extract::{LargeBody, Metered},
};

/// Which share of nonconforming joints is out of control.
#[utoipa::path(
    tag = "calculations",
    request_body = ControlLimitsRequest,
    responses((status = 200, body = ControlLimitsAnswer)),
    security(()),
)]
#[post("/v1/calculations/control-limits")]
pub async fn calculate_control_limits(
    _: Metered,
    body: LargeBody<ControlLimitsRequest>,
) -> Result<Json<ControlLimitsAnswer>, Problem> {
    answer(&body.0)
}
