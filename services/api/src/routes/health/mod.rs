//! Is the server there, is it ready, what can it do.

use utoipa_actix_web::service_config::ServiceConfig;

mod get_livez;
mod get_openapi;
mod get_readyz;

pub(super) fn configure(config: &mut ServiceConfig) {
    config
        .service(get_livez::get_livez)
        .service(get_readyz::get_readyz)
        .service(get_openapi::get_openapi);
}
