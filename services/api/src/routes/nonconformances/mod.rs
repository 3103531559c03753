//! Nonconformances.

use utoipa_actix_web::service_config::ServiceConfig;

mod list_nonconformances;
mod record_disposition;

pub(super) fn configure(config: &mut ServiceConfig) {
    config
        .service(list_nonconformances::list_nonconformances)
        .service(record_disposition::record_disposition);
}
