//! The calculators as a client meets them: what is sent, what is answered, which ranges hold.
//!
//! The API and the command line both ask here. A request is read by [`domain::schema::read`], so
//! that every fault is named at once with its pointer, its code and the range that is allowed;
//! the numbers themselves are made in `calc`. Units stand in the names of the fields, and numbers
//! come back unrounded.
//!
//! To add a calculator: a file with its request, its answer and its [`Calculation`], a line in
//! [`ALL`], and a file under the routes of the API.

use domain::schema::{self, FieldError, Validate};
use serde::{Serialize, de::DeserializeOwned};
use serde_json::Value;
use utoipa::ToSchema;

mod applied_cost;
mod conditions;
mod control_limits;
mod dew_point;
mod faults;
mod holiday_voltage;
mod overlap;
mod pipe_sizes;
mod proportion_interval;
mod reorder_point;
mod run_out;
mod run_out_simulation;
mod system_takeoff;
mod whole;
mod workable_hours;
mod wrap_takeoff;

pub use applied_cost::{AppliedCostAnswer, AppliedCostRequest};
pub use conditions::{ConditionsAnswer, ConditionsRequest};
pub use control_limits::{ControlLimitsAnswer, ControlLimitsRequest};
pub use dew_point::{DewPointAnswer, DewPointRequest};
pub use holiday_voltage::{
    HolidayVoltageAnswer, HolidayVoltageRequest, VoltageMethodView, VoltageMethods, voltage_methods,
};
pub use overlap::{OverlapAnswer, OverlapRequest};
pub use pipe_sizes::{PipeSizeView, PipeSizes, PipeSizesRequest, pipe_sizes};
pub use proportion_interval::{ProportionIntervalAnswer, ProportionIntervalRequest};
pub use reorder_point::{ReorderPointAnswer, ReorderPointRequest};
pub use run_out::{RunOutAnswer, RunOutRequest};
pub use system_takeoff::{SystemTakeoffAnswer, SystemTakeoffRequest};
pub use workable_hours::{WorkableHoursAnswer, WorkableHoursRequest};
pub use wrap_takeoff::{WrapTakeoffAnswer, WrapTakeoffRequest};

/// A request that can be answered. Its own ranges stand in its schema.
pub trait Calculation: ToSchema + DeserializeOwned + Validate + 'static {
    /// The name in paths and on the command line, such as `dew-point`.
    const NAME: &'static str;

    /// What is answered.
    type Answer: Serialize + ToSchema;

    /// The answer, or every fault that only the calculation itself can see.
    fn answer(&self) -> Result<Self::Answer, Vec<FieldError>>;
}

/// A calculator without its types, for the command line.
#[derive(Debug, Clone, Copy)]
pub struct Calculator {
    /// The name, such as `dew-point`.
    pub name: &'static str,
    /// The schema of the request as one document; `$ref` names the request itself.
    pub request: fn() -> Value,
    /// The schema of the answer, likewise.
    pub answer_schema: fn() -> Value,
    /// Reads a request and answers it as JSON text, fields in the order of the type; or names
    /// every fault.
    pub answer: fn(&Value) -> Result<String, Vec<FieldError>>,
}

/// Every calculator.
pub const ALL: [Calculator; 13] = [
    of::<WrapTakeoffRequest>(),
    of::<OverlapRequest>(),
    of::<SystemTakeoffRequest>(),
    of::<HolidayVoltageRequest>(),
    of::<DewPointRequest>(),
    of::<ConditionsRequest>(),
    of::<WorkableHoursRequest>(),
    of::<RunOutRequest>(),
    of::<ReorderPointRequest>(),
    of::<ControlLimitsRequest>(),
    of::<ProportionIntervalRequest>(),
    of::<AppliedCostRequest>(),
    of::<PipeSizesRequest>(),
];

const fn of<T: Calculation>() -> Calculator {
    Calculator {
        name: T::NAME,
        request: schema::document::<T>,
        answer_schema: schema::document::<T::Answer>,
        answer: asked::<T>,
    }
}

fn asked<T: Calculation>(request: &Value) -> Result<String, Vec<FieldError>> {
    let answer = schema::read::<T>(request)?.answer()?;
    serde_json::to_string_pretty(&answer)
        .map_err(|error| vec![FieldError::new("", "NO_ANSWER", error.to_string())])
}
