//! Uploaded registers.

use utoipa_actix_web::service_config::ServiceConfig;

mod create_import;
mod get_import;

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(create_import::create_import).service(get_import::get_import);
}
