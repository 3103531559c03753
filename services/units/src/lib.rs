//! Quantities. Units live in the names of constructors and readers; inside there is one unit each.
//!
//! Only what means something can be done with a quantity. Rounding has a name.

mod bulk;
mod kp;
mod mechanics;
mod quantity;
mod share;

pub use bulk::{Area, Density, Mass, SpreadingRate, Volume};
pub use kp::{Kp, KpError};
pub use mechanics::{Force, Pressure};
pub use quantity::{Length, RelativeHumidity, Temperature, UnitError, Voltage};
pub use share::{Overlap, Percent};
