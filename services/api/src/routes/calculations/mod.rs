//! The calculators: no project, no sign-in, a limited rate.
//!
//! What is sent and answered stands in the crate `calculators`; here are the paths.

use actix_web::web::{self, Json};
use calculators::Calculation;
use tokio::sync::Semaphore;
use utoipa_actix_web::service_config::ServiceConfig;

use crate::{
    Problem,
    extract::{Body, LARGE},
};

mod calculate_applied_cost;
mod calculate_conditions;
mod calculate_control_limits;
mod calculate_dew_point;
mod calculate_holiday_voltage;
mod calculate_overlap;
mod calculate_proportion_interval;
mod calculate_reorder_point;
mod calculate_run_out;
mod calculate_system_takeoff;
mod calculate_workable_hours;
mod calculate_wrap_takeoff;
mod list_pipe_sizes;
mod list_voltage_methods;

pub(super) fn configure(config: &mut ServiceConfig) {
    config
        .service(calculate_wrap_takeoff::calculate_wrap_takeoff)
        .service(calculate_overlap::calculate_overlap)
        .service(calculate_system_takeoff::calculate_system_takeoff)
        .service(list_pipe_sizes::list_pipe_sizes)
        .service(calculate_holiday_voltage::calculate_holiday_voltage)
        .service(list_voltage_methods::list_voltage_methods)
        .service(calculate_dew_point::calculate_dew_point)
        .service(calculate_conditions::calculate_conditions)
        .service(calculate_workable_hours::calculate_workable_hours)
        .service(calculate_run_out::calculate_run_out)
        .service(calculate_reorder_point::calculate_reorder_point)
        .service(calculate_control_limits::calculate_control_limits)
        .service(calculate_proportion_interval::calculate_proportion_interval)
        .service(calculate_applied_cost::calculate_applied_cost);
}

/// A body with thousands of entries, each with every digit that a program may write.
type LongBody<T> = Body<T, { 2 * LARGE }>;

/// Answers at once: what takes less time than to hand it to another thread.
fn answer<T: Calculation>(request: &T) -> Result<Json<T::Answer>, Problem> {
    request.answer().map(Json).map_err(Problem::invalid)
}

/// Long calculations at one time; the others wait, so that strangers leave cores to those who are
/// signed in.
static ASIDE: Semaphore = Semaphore::const_new(2);

/// Answers on a thread that may block, so that the other requests of this one go on.
async fn answer_aside<T>(request: T) -> Result<Json<T::Answer>, Problem>
where
    T: Calculation + Send,
    T::Answer: Send,
{
    let turn = ASIDE.acquire().await.map_err(|error| Problem::unavailable(error.to_string()))?;
    let answered = web::block(move || request.answer()).await;
    let answered = answered.map_err(|error| Problem::unavailable(error.to_string()))?;
    drop(turn);
    answered.map(Json).map_err(Problem::invalid)
}
