use actix_web::get;

/// Is the process alive.
///
/// Asks nothing of the database: a hiccup there must not restart the server.
#[utoipa::path(tag = "health", responses((status = 200, body = str, content_type = "text/plain")))]
#[get("/livez")]
pub async fn get_livez() -> &'static str {
    "ok"
}
