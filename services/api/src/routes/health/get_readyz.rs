use std::{future::Future, time::Duration};

use actix_web::{HttpResponse, get, http::StatusCode, web::Data};
use app::App;
use serde::Serialize;
use utoipa::ToSchema;

use crate::Readiness;

/// How long each check may take.
const PATIENCE: Duration = Duration::from_secs(1);

/// Whether the next request can be answered, and what it needs.
#[derive(Serialize, ToSchema)]
pub struct ReadinessView {
    /// Whether every check passed.
    ready: bool,
    /// The checks.
    checks: Vec<Check>,
}

/// One thing that a request needs.
#[derive(Serialize, ToSchema)]
pub struct Check {
    /// What was checked: `database`, `schema`, `disk` where the database is this server's own, and
    /// `draining`, which is not ok once the server was asked to stop.
    #[schema(example = "database")]
    name: &'static str,
    /// Whether it is as it should be.
    ok: bool,
}

/// Is the server ready for requests.
#[utoipa::path(
    tag = "health",
    responses((status = 200, body = ReadinessView), (status = 503, body = ReadinessView)),
)]
#[get("/readyz")]
pub async fn get_readyz(app: Data<App>, readiness: Data<Readiness>) -> HttpResponse {
    let mut checks = vec![
        Check { name: "database", ok: in_time(answers(&app)).await },
        Check { name: "schema", ok: in_time(fits(&app)).await },
    ];
    if let Some(ok) = readiness.has_room() {
        checks.push(Check { name: "disk", ok });
    }
    checks.push(Check { name: "draining", ok: !readiness.is_draining() });
    let ready = checks.iter().all(|check| check.ok);
    let status = if ready { StatusCode::OK } else { StatusCode::SERVICE_UNAVAILABLE };
    HttpResponse::build(status).json(ReadinessView { ready, checks })
}

async fn in_time(check: impl Future<Output = bool>) -> bool {
    tokio::time::timeout(PATIENCE, check).await.unwrap_or(false)
}

/// The beginning of a transaction is one round trip.
async fn answers(app: &App) -> bool {
    app.begin().await.is_ok()
}

/// Whether every migration of this program was applied; newer ones do no harm.
async fn fits(app: &App) -> bool {
    let Ok(mut conn) = app.connection().await else { return false };
    store::is_migrated(&mut conn).await.unwrap_or_else(|error| {
        tracing::warn!(%error, "could not look at the schema");
        false
    })
}
