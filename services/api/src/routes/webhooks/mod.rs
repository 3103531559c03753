//! Where changes are sent.

use utoipa_actix_web::service_config::ServiceConfig;

mod create_webhook;
mod delete_webhook;
mod list_webhook_deliveries;
mod list_webhooks;
mod put_webhook;
mod resend_webhook_delivery;
mod rotate_webhook_secret;
mod views;

pub(super) fn configure(config: &mut ServiceConfig) {
    config
        .service(list_webhooks::list_webhooks)
        .service(create_webhook::create_webhook)
        .service(put_webhook::put_webhook)
        .service(delete_webhook::delete_webhook)
        .service(rotate_webhook_secret::rotate_webhook_secret)
        .service(list_webhook_deliveries::list_webhook_deliveries)
        .service(resend_webhook_delivery::resend_webhook_delivery);
}
