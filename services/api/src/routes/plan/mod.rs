//! The working calendar, the production plan, and how the work keeps up with it.

use utoipa_actix_web::service_config::ServiceConfig;

mod get_calendar;
mod get_plan;
mod get_progress;
mod put_calendar;
mod put_plan;
mod upload_plan;

pub(super) fn configure(config: &mut ServiceConfig) {
    config
        .service(get_plan::get_plan)
        .service(put_plan::put_plan)
        .service(upload_plan::upload_plan)
        .service(get_progress::get_progress)
        .service(get_calendar::get_calendar)
        .service(put_calendar::put_calendar);
}
