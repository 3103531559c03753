//! The calculations: pure, over quantities, each with its source beside it.
//!
//! Provenance is told in four words: *published* (seen at first hand), *second-hand*, *from
//! memory, unverified*, and *common practice, no source*.

mod conditions;
mod dew_point;
mod holiday_voltage;

pub use conditions::{Broken, Limits, Reading, Verdict, conditions};
pub use dew_point::dew_point;
pub use holiday_voltage::{
    CAUTIONS, RequiredVoltage, VoltageError, VoltageMethod, VoltageRule, required_voltage,
};
