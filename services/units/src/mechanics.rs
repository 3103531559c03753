//! Force and pressure.

use crate::quantity::{UnitError, within};

/// A force.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Force {
    newtons: f64,
}

impl Force {
    /// From 0 to 1000 kN.
    pub fn from_newtons(value: f64) -> Result<Self, UnitError> {
        within("force", "N", value, 0.0, 1e6).map(|newtons| Self { newtons })
    }

    /// In N.
    pub const fn as_newtons(self) -> f64 {
        self.newtons
    }
}

/// A pressure.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Pressure {
    megapascals: f64,
}

impl Pressure {
    /// From 0 to 1e15 MPa: room for any quotient of an admitted force and area.
    pub fn from_megapascals(value: f64) -> Result<Self, UnitError> {
        within("pressure", "MPa", value, 0.0, 1e15).map(|megapascals| Self { megapascals })
    }

    /// In MPa, which is N/mm².
    pub const fn as_megapascals(self) -> f64 {
        self.megapascals
    }

    /// In kPa.
    pub fn as_kilopascals(self) -> f64 {
        self.megapascals * 1000.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_megapascal_is_a_thousand_kilopascals() {
        let pressure = Pressure::from_megapascals(0.0175).unwrap();
        assert!((pressure.as_kilopascals() - 17.5).abs() < 1e-12);
        assert!(Force::from_newtons(-1.0).is_err());
    }
}
