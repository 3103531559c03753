use actix_web::{get, web::Json};
use calculators::PipeSizes;

use crate::extract::Metered;

/// Sizes of steel pipe.
#[utoipa::path(
    tag = "calculations",
    responses((status = 200, body = PipeSizes)),
    security(()),
)]
#[get("/v1/calculations/pipe-sizes")]
pub async fn list_pipe_sizes(_: Metered) -> Json<PipeSizes> {
    Json(calculators::pipe_sizes())
}
