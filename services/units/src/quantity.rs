//! Length, voltage, temperature and relative humidity.

/// A number that is no quantity of that kind.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("{value} is no {what}: it must be from {low} to {high} {unit}")]
pub struct UnitError {
    pub(crate) what: &'static str,
    pub(crate) value: f64,
    pub(crate) low: f64,
    pub(crate) high: f64,
    pub(crate) unit: &'static str,
}

pub(crate) fn within(
    what: &'static str,
    unit: &'static str,
    value: f64,
    low: f64,
    high: f64,
) -> Result<f64, UnitError> {
    // NaN is in no range, so it is refused here as well.
    if (low..=high).contains(&value) {
        Ok(value)
    } else {
        Err(UnitError { what, value, low, high, unit })
    }
}

/// A length.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Length {
    millimetres: f64,
}

impl Length {
    /// No length.
    pub const ZERO: Self = Self { millimetres: 0.0 };

    /// From 0 to 10 km.
    pub fn from_millimetres(value: f64) -> Result<Self, UnitError> {
        within("length", "mm", value, 0.0, 1e7).map(|millimetres| Self { millimetres })
    }

    /// From 0 to 10 km.
    pub fn from_metres(value: f64) -> Result<Self, UnitError> {
        within("length", "m", value, 0.0, 1e4).map(|metres| Self { millimetres: metres * 1000.0 })
    }

    /// From 0 to 10 km. One international inch is 25.4 mm exactly.
    pub fn from_inches(value: f64) -> Result<Self, UnitError> {
        within("length", "in", value, 0.0, 1e7 / 25.4)
            .map(|inches| Self { millimetres: inches * 25.4 })
    }

    /// In mm.
    pub const fn as_millimetres(self) -> f64 {
        self.millimetres
    }

    /// In m.
    pub fn as_metres(self) -> f64 {
        self.millimetres / 1000.0
    }

    /// In µm.
    pub fn as_micrometres(self) -> f64 {
        self.millimetres * 1000.0
    }

    /// In mil: 1 mil = 0.0254 mm exactly.
    pub fn as_mils(self) -> f64 {
        self.millimetres / 0.0254
    }
}

/// A voltage.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Voltage {
    volts: f64,
}

impl Voltage {
    /// From 0 to 1000 kV.
    pub fn from_kilovolts(value: f64) -> Result<Self, UnitError> {
        within("voltage", "kV", value, 0.0, 1000.0).map(|kv| Self { volts: kv * 1000.0 })
    }

    /// In kV.
    pub fn as_kilovolts(self) -> f64 {
        self.volts / 1000.0
    }

    /// The one rounding by which a set voltage is held against a required one, so that
    /// 12.4 kV set meets 5 + 5 × 1.48 kV asked.
    #[expect(clippy::cast_possible_truncation, reason = "at most a million volts")]
    pub fn to_nearest_volt(self) -> i64 {
        self.volts.round() as i64
    }
}

/// A temperature.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Temperature {
    celsius: f64,
}

impl Temperature {
    /// From −100 to 500 °C.
    pub fn from_celsius(value: f64) -> Result<Self, UnitError> {
        within("temperature", "°C", value, -100.0, 500.0).map(|celsius| Self { celsius })
    }

    /// In °C.
    pub const fn as_celsius(self) -> f64 {
        self.celsius
    }
}

/// Relative humidity of air over water.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct RelativeHumidity {
    percent: f64,
}

impl RelativeHumidity {
    /// Over 0, up to 100 %.
    pub fn from_percent(value: f64) -> Result<Self, UnitError> {
        let percent = within("relative humidity", "%", value, 0.0, 100.0)?;
        if percent > 0.0 {
            return Ok(Self { percent });
        }
        Err(UnitError { what: "relative humidity over 0", value, low: 0.0, high: 100.0, unit: "%" })
    }

    /// In %.
    pub const fn as_percent(self) -> f64 {
        self.percent
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_out_of_range_are_no_quantities() {
        for value in [f64::NAN, f64::INFINITY, -0.001] {
            assert!(Length::from_millimetres(value).is_err(), "{value}");
        }
        assert!(RelativeHumidity::from_percent(0.0).is_err());
        assert!(RelativeHumidity::from_percent(100.0).is_ok());
        let error = Voltage::from_kilovolts(-1.0).unwrap_err().to_string();
        assert_eq!(error, "-1 is no voltage: it must be from 0 to 1000 kV");
    }

    #[test]
    fn a_set_voltage_meets_the_same_voltage_computed() {
        let set = Voltage::from_kilovolts(12.4).unwrap();
        let asked = Voltage::from_kilovolts(5.0 + 5.0 * 1.48).unwrap();
        assert_eq!(set.to_nearest_volt(), asked.to_nearest_volt());
    }

    #[test]
    fn a_mil_is_25_4_micrometres() {
        // Definition of the international inch, 1959: 25.4 mm.
        let length = Length::from_millimetres(0.508).unwrap();
        assert!((length.as_mils() - 20.0).abs() < 1e-12);
        assert!((length.as_micrometres() - 508.0).abs() < 1e-12);
    }
}
