//! The weather: what it says of the work that was done and of that which goes on.

mod check;
mod clocks;
mod follow_readings;

pub use check::{Looked, ambient_check};
pub use clocks::{ask_clocks, primer_clock};
pub(crate) use follow_readings::follow_later;
pub use follow_readings::{Followed, follow_readings};
