//! What has changed.

use utoipa_actix_web::service_config::ServiceConfig;

mod list_changes;
mod server_sent;
mod stream_changes;

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(list_changes::list_changes).service(stream_changes::stream_changes);
}
