//! The weather of a project.

use utoipa_actix_web::service_config::ServiceConfig;

mod get_ambient_outlook;
mod get_workable_hours;
mod list_ambient_outlooks;
mod list_ambient_readings;
mod record_ambient_outlook;
mod record_reading;
mod record_reading_batch;
mod upload_ambient_outlook;
mod upload_readings;

pub(super) fn configure(config: &mut ServiceConfig) {
    config
        .service(record_reading::record_reading)
        .service(list_ambient_readings::list_ambient_readings)
        .service(record_reading_batch::record_reading_batch)
        .service(upload_readings::upload_readings)
        .service(record_ambient_outlook::record_ambient_outlook)
        .service(list_ambient_outlooks::list_ambient_outlooks)
        .service(upload_ambient_outlook::upload_ambient_outlook)
        .service(get_ambient_outlook::get_ambient_outlook)
        .service(get_workable_hours::get_workable_hours);
}
