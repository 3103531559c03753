//! What the kinds of problems mean.

use utoipa_actix_web::service_config::ServiceConfig;

mod get_problem;

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(get_problem::get_problem);
}
