//! How often coatings have to be repaired, and who should be told.

mod check;
mod nightly;
mod rates;

pub use check::{Looked, repair_rate};
pub use nightly::ask_each;
pub use rates::{RepairRates, repair_rates};
