//! The working calendar, the production plan, and how the work keeps up with it.

mod current;
mod from_csv;
mod progress;

pub use current::{current, replace};
pub use from_csv::from_csv;
pub use progress::{Progress, SpreadProgress, progress};
