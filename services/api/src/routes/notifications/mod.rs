//! What somebody wants to be written about.

use utoipa_actix_web::service_config::ServiceConfig;

mod get_notifications;
mod put_notifications;

pub(super) fn configure(config: &mut ServiceConfig) {
    config
        .service(get_notifications::get_notifications)
        .service(put_notifications::put_notifications);
}
