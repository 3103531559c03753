//! Materials and what there is of them.

use utoipa_actix_web::service_config::ServiceConfig;

mod lots;
mod materials;
mod parse_scan;

pub(super) fn configure(config: &mut ServiceConfig) {
    materials::configure(config);
    lots::configure(config);
    config.service(parse_scan::parse_scan);
}
