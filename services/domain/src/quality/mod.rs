//! How often coatings have to be repaired: who, what and when, with the limits of chance beside it.
//!
//! A coating counts once: at the first holiday test after its last layer.
//! It did not conform where that test failed, or where it was repaired before it passed.

mod coat_fact;
mod inspection;
mod rates;
mod signals;

pub use coat_fact::{CoatFact, CoatWork};
pub use inspection::{Inspection, inspections};
pub use rates::{By, Grouping, Inspected, RatePoint, RepairRate, Span, repair_rates};
pub use signals::{REPAIR_RATE_KIND, signals_of_crews};
