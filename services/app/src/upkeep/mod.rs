//! What is done by the clock.

mod ask_all;
mod clean;
mod release_freshness;

pub use ask_all::ask_all;
pub use clean::{Cleaned, clean};
pub use release_freshness::{Freshness, release_freshness};
