//! Nonconformances.

use domain::ids::NonconformanceId;
use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_actix_web::service_config::ServiceConfig;

mod approve_concession;
mod create_nonconformance;
mod create_nonconformance_entry;
mod get_nonconformance;
mod list_nonconformances;
mod propose_concession;
mod record_disposition;

/// A nonconformance.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct NonconformancePath {
    /// Id or code of the project.
    #[expect(dead_code, reason = "the permit reads it")]
    project: String,
    /// Id of the nonconformance.
    nonconformance: NonconformanceId,
}

pub(super) fn configure(config: &mut ServiceConfig) {
    config
        .service(list_nonconformances::list_nonconformances)
        .service(create_nonconformance::create_nonconformance)
        .service(create_nonconformance_entry::create_nonconformance_entry)
        .service(get_nonconformance::get_nonconformance)
        .service(record_disposition::record_disposition)
        .service(propose_concession::propose_concession)
        .service(approve_concession::approve_concession);
}
