//! What the server does later.

use utoipa_actix_web::service_config::ServiceConfig;

mod list_jobs;
mod run_job;

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(list_jobs::list_jobs).service(run_job::run_job);
}
