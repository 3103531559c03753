use actix_web::{post, web::Json};
use calculators::{DewPointAnswer, DewPointRequest};

use super::answer;
use crate::{
    Problem,
    extract::{Body, Metered},
};

/// Dew point of air.
#[utoipa::path(
    tag = "calculations",
    request_body = DewPointRequest,
    responses((status = 200, body = DewPointAnswer)),
    security(()),
)]
#[post("/v1/calculations/dew-point")]
pub async fn calculate_dew_point(
    _: Metered,
    body: Body<DewPointRequest>,
) -> Result<Json<DewPointAnswer>, Problem> {
    answer(&body.0)
}
