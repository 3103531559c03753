use actix_web::{post, web::Json};
use calculators::{SystemTakeoffAnswer, SystemTakeoffRequest};

use super::answer;
use crate::{
    Problem,
    extract::{Body, Metered},
};

/// What a coating system takes on one joint.
#[utoipa::path(
    tag = "calculations",
    request_body = SystemTakeoffRequest,
    responses((status = 200, body = SystemTakeoffAnswer)),
    security(()),
)]
#[post("/v1/calculations/system-takeoff")]
pub async fn calculate_system_takeoff(
    _: Metered,
    body: Body<SystemTakeoffRequest>,
) -> Result<Json<SystemTakeoffAnswer>, Problem> {
    answer(&body.0)
}
