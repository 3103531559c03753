//! What somebody should look at.

use utoipa_actix_web::service_config::ServiceConfig;

mod acknowledge_warning;
mod get_warning;
mod list_warnings;
mod views;

pub(super) fn configure(config: &mut ServiceConfig) {
    config
        .service(list_warnings::list_warnings)
        .service(get_warning::get_warning)
        .service(acknowledge_warning::acknowledge_warning);
}
