//! The weather: what was read, and which reading speaks for a moment.

mod nearest;
mod reading;

pub use nearest::nearest;
pub use reading::{Measured, StationReading};
