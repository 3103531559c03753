use actix_web::{HttpResponse, get};

use crate::openapi::served;

/// This description.
#[utoipa::path(tag = "health", responses((status = 200, body = Object)))]
#[get("/openapi.json")]
pub async fn get_openapi() -> HttpResponse {
    HttpResponse::Ok().content_type("application/json").body(served())
}
