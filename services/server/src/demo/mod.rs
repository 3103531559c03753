//! An invented project, loaded as if people had worked on it up to today.
//!
//! Everything goes in through the use cases, by the people who would have done it and at the
//! time when they would have done it; nothing is written past the rules.

mod actors;
mod batches;
mod facts;
mod files;
mod guide;
mod items;
mod load;
mod register;
mod releases;
mod shift;
mod stock;
mod weather;

pub use guide::guide;
pub use load::{Loaded, load};
