//! The weather: what was read, which reading speaks for a moment, and what it says of limits.

mod conditions;
mod judge;
mod nearest;
mod new_reading;
pub mod outlook;
mod reading;
pub mod workable;

pub use conditions::{
    SpreadNow, StoreNow, WEATHER_KINDS, WorkToday, of_day, of_spread, of_store, rules_of_system,
};
pub use judge::{Judgement, LimitBroken, Rules, judge};
pub use nearest::nearest;
pub use new_reading::{NewReading, Place};
pub use outlook::{Hour, NewOutlook};
pub use reading::{Measured, StationReading};
