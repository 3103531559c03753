//! Quantities. Units live in the names of constructors and readers; inside there is one unit each.
//!
//! Only what means something can be done with a quantity. Rounding has a name.

mod kp;
mod quantity;

pub use kp::{Kp, KpError};
pub use quantity::{Length, RelativeHumidity, Temperature, UnitError, Voltage};
