use actix_web::{post, web::Json};
use calculators::{ConditionsAnswer, ConditionsRequest};

use super::answer;
use crate::{
    Problem,
    extract::{Body, Metered},
};

/// Air, humidity and steel against limits.
#[utoipa::path(
    tag = "calculations",
    request_body = ConditionsRequest,
    responses((status = 200, body = ConditionsAnswer)),
    security(()),
)]
#[post("/v1/calculations/conditions")]
pub async fn calculate_conditions(
    _: Metered,
    body: Body<ConditionsRequest>,
) -> Result<Json<ConditionsAnswer>, Problem> {
    answer(&body.0)
}
