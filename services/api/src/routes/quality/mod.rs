//! How well the work is done.

use utoipa_actix_web::service_config::ServiceConfig;

mod list_repair_rates;

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(list_repair_rates::list_repair_rates);
}
