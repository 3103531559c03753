use actix_web::{post, web::Json};
use calculators::{ReorderPointAnswer, ReorderPointRequest};

use super::answer;
use crate::{
    Problem,
    extract::{Body, Metered},
};

/// When to order.
#[utoipa::path(
    tag = "calculations",
    request_body = ReorderPointRequest,
    responses((status = 200, body = ReorderPointAnswer)),
    security(()),
)]
#[post("/v1/calculations/reorder-point")]
pub async fn calculate_reorder_point(
    _: Metered,
    body: Body<ReorderPointRequest>,
) -> Result<Json<ReorderPointAnswer>, Problem> {
    answer(&body.0)
}
