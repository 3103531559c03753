//! The calculators on the command line.
//!
//! The options are made from the published schemas of the requests, so the command line and the
//! API cannot drift apart.

mod args;
mod field;
mod ordered;
mod table;

pub use args::{CalcArgs, faults};
pub use table::table;
