//! What becomes of the stock, and what of it somebody must see.

mod check;
mod look;
mod morning;
mod situation;

pub use check::{Checked, stock_check};
pub use look::{Ask, look};
pub use morning::ask_each;
pub(crate) use situation::situation;
