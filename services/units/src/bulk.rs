//! Area, volume, mass, density and the spreading rate of a liquid.

use crate::quantity::{UnitError, within};

/// An area.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Area {
    square_metres: f64,
}

impl Area {
    /// From 0 to 10 km².
    pub fn from_square_metres(value: f64) -> Result<Self, UnitError> {
        within("area", "m²", value, 0.0, 1e7).map(|square_metres| Self { square_metres })
    }

    /// In m².
    pub const fn as_square_metres(self) -> f64 {
        self.square_metres
    }
}

/// A volume.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Volume {
    cubic_millimetres: f64,
}

impl Volume {
    /// From 0 to 10 million m³.
    pub fn from_cubic_millimetres(value: f64) -> Result<Self, UnitError> {
        within("volume", "mm³", value, 0.0, 1e16)
            .map(|cubic_millimetres| Self { cubic_millimetres })
    }

    /// From 0 to 10 million m³.
    pub fn from_litres(value: f64) -> Result<Self, UnitError> {
        within("volume", "L", value, 0.0, 1e10)
            .map(|litres| Self { cubic_millimetres: litres * 1e6 })
    }

    /// In mm³.
    pub const fn as_cubic_millimetres(self) -> f64 {
        self.cubic_millimetres
    }

    /// In cm³.
    pub fn as_cubic_centimetres(self) -> f64 {
        self.cubic_millimetres / 1e3
    }

    /// In L.
    pub fn as_litres(self) -> f64 {
        self.cubic_millimetres / 1e6
    }
}

/// A mass.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Mass {
    kilograms: f64,
}

impl Mass {
    /// From 0 to a million tonnes.
    pub fn from_kilograms(value: f64) -> Result<Self, UnitError> {
        within("mass", "kg", value, 0.0, 1e9).map(|kilograms| Self { kilograms })
    }

    /// In kg.
    pub const fn as_kilograms(self) -> f64 {
        self.kilograms
    }
}

/// Mass per volume.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Density {
    grams_per_cubic_centimetre: f64,
}

impl Density {
    /// From 0.01 to 30 g/cm³.
    pub fn from_grams_per_cubic_centimetre(value: f64) -> Result<Self, UnitError> {
        within("density", "g/cm³", value, 0.01, 30.0)
            .map(|grams_per_cubic_centimetre| Self { grams_per_cubic_centimetre })
    }

    /// In g/cm³.
    pub const fn as_grams_per_cubic_centimetre(self) -> f64 {
        self.grams_per_cubic_centimetre
    }
}

/// The area that a litre of liquid covers.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct SpreadingRate {
    square_metres_per_litre: f64,
}

impl SpreadingRate {
    /// From 0.01 to 1000 m²/L.
    pub fn from_square_metres_per_litre(value: f64) -> Result<Self, UnitError> {
        within("spreading rate", "m²/L", value, 0.01, 1000.0)
            .map(|square_metres_per_litre| Self { square_metres_per_litre })
    }

    /// In m²/L.
    pub const fn as_square_metres_per_litre(self) -> f64 {
        self.square_metres_per_litre
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_litre_is_a_cubic_decimetre() {
        // Definition of the litre, CGPM 1964: 1 L = 1 dm³.
        let litre = Volume::from_litres(1.0).unwrap();
        assert!((litre.as_cubic_centimetres() - 1000.0).abs() < 1e-9);
        assert!((litre.as_cubic_millimetres() - 1e6).abs() < 1e-6);
    }

    #[test]
    fn numbers_out_of_range_are_no_quantities() {
        assert!(Area::from_square_metres(-1.0).is_err());
        assert!(Mass::from_kilograms(f64::NAN).is_err());
        assert!(Density::from_grams_per_cubic_centimetre(0.0).is_err());
        assert!(SpreadingRate::from_square_metres_per_litre(0.0).is_err());
        assert!(Volume::from_litres(f64::INFINITY).is_err());
    }
}
