//! What the plan will consume.

use utoipa_actix_web::service_config::ServiceConfig;

mod get_takeoff;

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(get_takeoff::get_takeoff);
}
