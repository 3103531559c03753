//! Nonconformances.

use utoipa_actix_web::service_config::ServiceConfig;

mod list_nonconformances;

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(list_nonconformances::list_nonconformances);
}
