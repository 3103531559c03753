//! What somebody should look at.

use utoipa_actix_web::service_config::ServiceConfig;

mod list_warnings;

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(list_warnings::list_warnings);
}
