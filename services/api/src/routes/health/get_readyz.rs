use std::time::Duration;

use actix_web::{HttpResponse, get, http::StatusCode, web::Data};
use app::App;
use serde::Serialize;
use utoipa::ToSchema;

/// How long the database has to answer.
const PATIENCE: Duration = Duration::from_secs(1);

/// Whether the next request can be answered, and what it needs.
#[derive(Serialize, ToSchema)]
pub struct Readiness {
    /// Whether every check passed.
    ready: bool,
    /// The checks.
    checks: Vec<Check>,
}

/// One thing that a request needs.
#[derive(Serialize, ToSchema)]
pub struct Check {
    /// What was checked.
    name: &'static str,
    /// Whether it is there.
    ok: bool,
}

/// Is the server ready for requests.
#[utoipa::path(
    tag = "health",
    responses((status = 200, body = Readiness), (status = 503, body = Readiness)),
)]
#[get("/readyz")]
pub async fn get_readyz(app: Data<App>) -> HttpResponse {
    let database = Check { name: "database", ok: answers(&app).await };
    let checks = vec![database];
    let ready = checks.iter().all(|check| check.ok);
    let status = if ready { StatusCode::OK } else { StatusCode::SERVICE_UNAVAILABLE };
    HttpResponse::build(status).json(Readiness { ready, checks })
}

/// The beginning of a transaction is one round trip.
async fn answers(app: &App) -> bool {
    let begun = tokio::time::timeout(PATIENCE, app.begin()).await;
    begun.is_ok_and(|begun| begun.is_ok())
}
