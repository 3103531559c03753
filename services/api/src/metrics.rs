//! What is counted, for those who watch the server.

use std::time::Duration;

use actix_web::{HttpResponse, web::Data};
use app::App;
use metrics_exporter_prometheus::{BuildError, PrometheusBuilder, PrometheusHandle};

use crate::load::Load;

const REQUEST_SECONDS: &str = "jointward_http_request_duration_seconds";

/// Upper ends of the classes of request times, seconds.
const CLASSES: [f64; 11] = [0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 5.0];

/// Counts from now on, until the process ends.
#[derive(Clone)]
pub struct Recorder(PrometheusHandle);

impl Recorder {
    /// Starts to count; once in a process.
    pub fn install() -> Result<Self, BuildError> {
        let handle = PrometheusBuilder::new().set_buckets(&CLASSES)?.install_recorder()?;
        metrics::describe_histogram!(
            REQUEST_SECONDS,
            metrics::Unit::Seconds,
            "Requests by method, route and status."
        );
        Ok(Self(handle))
    }
}

/// Counts a request that was answered.
pub fn answered(method: &str, route: Option<String>, status: u16, took: Duration) {
    let labels = [
        ("method", method.to_owned()),
        // Paths that nobody serves are one: a scan must not fill the memory.
        ("route", route.unwrap_or_else(|| "none".to_owned())),
        ("status", status.to_string()),
    ];
    metrics::histogram!(REQUEST_SECONDS, &labels).record(took.as_secs_f64());
}

/// The counts as text (Prometheus exposition format).
pub async fn show(recorder: Data<Recorder>, app: Data<App>, load: Data<Load>) -> HttpResponse {
    let pool = &app.pool;
    let idle = pool.num_idle();
    for (name, value) in [
        ("jointward_http_requests_under_way", load.under_way()),
        ("jointward_database_connections", usize::try_from(pool.size()).unwrap_or_default()),
        ("jointward_database_connections_idle", idle),
    ] {
        metrics::gauge!(name).set(u32::try_from(value).unwrap_or(u32::MAX));
    }
    HttpResponse::Ok().content_type("text/plain; version=0.0.4").body(recorder.0.render())
}
