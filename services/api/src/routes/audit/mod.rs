//! Who did what.

use utoipa_actix_web::service_config::ServiceConfig;

mod list_deeds;

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(list_deeds::list_deeds);
}
