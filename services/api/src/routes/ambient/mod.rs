//! The weather of a project.

use utoipa_actix_web::service_config::ServiceConfig;

mod list_readings;
mod record_reading;
mod record_reading_batch;
mod upload_readings;

pub(super) fn configure(config: &mut ServiceConfig) {
    config
        .service(record_reading::record_reading)
        .service(list_readings::list_readings)
        .service(record_reading_batch::record_reading_batch)
        .service(upload_readings::upload_readings);
}
