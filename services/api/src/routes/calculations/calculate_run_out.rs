use actix_web::{post, web::Json};
use calculators::{RunOutAnswer, RunOutRequest};

use super::{LongBody, answer_aside};
use crate::{Problem, extract::Metered};

/// When the stock runs out.
#[utoipa::path(
    tag = "calculations",
    request_body = RunOutRequest,
    responses((status = 200, body = RunOutAnswer)),
    security(()),
)]
#[post("/v1/calculations/run-out")]
pub async fn calculate_run_out(
    _: Metered,
    body: LongBody<RunOutRequest>,
) -> Result<Json<RunOutAnswer>, Problem> {
    answer_aside(body.0).await
}
