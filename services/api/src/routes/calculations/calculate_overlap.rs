use actix_web::{post, web::Json};
use calculators::{OverlapAnswer, OverlapRequest};

use super::answer;
use crate::{
    Problem,
    extract::{Body, Metered},
};

/// Overlap from the measured advance of a turn.
#[utoipa::path(
    tag = "calculations",
    request_body = OverlapRequest,
    responses((status = 200, body = OverlapAnswer)),
    security(()),
)]
#[post("/v1/calculations/overlap")]
pub async fn calculate_overlap(
    _: Metered,
    body: Body<OverlapRequest>,
) -> Result<Json<OverlapAnswer>, Problem> {
    answer(&body.0)
}
