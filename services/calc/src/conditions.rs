//! Air, humidity and steel against limits. A value exactly on its limit is inside.

use serde::{Deserialize, Serialize};
use units::{RelativeHumidity, Temperature};

use crate::dew_point;

/// What was read at the joint.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// Air.
    pub air: Temperature,
    /// Humidity of the air.
    pub relative_humidity: RelativeHumidity,
    /// Steel, on its shaded side.
    pub steel: Temperature,
}

/// Limits, each optional.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Limits {
    /// Lowest steel temperature, °C.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub steel_min_c: Option<f64>,
    /// Highest steel temperature, °C.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub steel_max_c: Option<f64>,
    /// Lowest air temperature, °C.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub air_min_c: Option<f64>,
    /// Highest air temperature, °C.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub air_max_c: Option<f64>,
    /// Highest relative humidity, %.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub relative_humidity_max_percent: Option<f64>,
    /// Least margin of the steel above the dew point, K.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dew_point_margin_c: Option<f64>,
}

impl Limits {
    /// Of each limit the stricter one.
    #[must_use]
    pub fn tightest(&self, other: &Self) -> Self {
        let pick = |a: Option<f64>, b: Option<f64>, stricter: fn(f64, f64) -> f64| match (a, b) {
            (Some(a), Some(b)) => Some(stricter(a, b)),
            (a, b) => a.or(b),
        };
        Self {
            steel_min_c: pick(self.steel_min_c, other.steel_min_c, f64::max),
            steel_max_c: pick(self.steel_max_c, other.steel_max_c, f64::min),
            air_min_c: pick(self.air_min_c, other.air_min_c, f64::max),
            air_max_c: pick(self.air_max_c, other.air_max_c, f64::min),
            relative_humidity_max_percent: pick(
                self.relative_humidity_max_percent,
                other.relative_humidity_max_percent,
                f64::min,
            ),
            dew_point_margin_c: pick(self.dew_point_margin_c, other.dew_point_margin_c, f64::max),
        }
    }
}

/// A limit that does not hold.
#[derive(Debug, Clone, PartialEq)]
pub struct Broken {
    /// Name of the limit.
    pub limit: &'static str,
    /// What was read.
    pub value: f64,
    /// The limit.
    pub bound: f64,
}

/// The judgement.
#[derive(Debug, Clone, PartialEq)]
pub struct Verdict {
    /// Dew point, °C.
    pub dew_point_c: f64,
    /// Steel above the dew point, K.
    pub margin_c: f64,
    /// Every broken limit.
    pub broken: Vec<Broken>,
}

/// Far under any reading's resolution: keeps a computed 2.9999999999 from breaking a limit of 3.
const ROUNDING: f64 = 1e-9;

/// Judges a reading.
pub fn conditions(reading: &Reading, limits: &Limits) -> Verdict {
    let dew_point_c = dew_point(reading.air, reading.relative_humidity);
    let margin_c = reading.steel.as_celsius() - dew_point_c;
    let humidity = reading.relative_humidity.as_percent();
    let (air, steel) = (reading.air.as_celsius(), reading.steel.as_celsius());
    let low = [
        ("steel_min_c", steel, limits.steel_min_c),
        ("air_min_c", air, limits.air_min_c),
        ("dew_point_margin_c", margin_c, limits.dew_point_margin_c),
    ];
    let high = [
        ("steel_max_c", steel, limits.steel_max_c),
        ("air_max_c", air, limits.air_max_c),
        ("relative_humidity_max_percent", humidity, limits.relative_humidity_max_percent),
    ];
    let under = low.into_iter().filter_map(|(limit, value, bound)| {
        bound.filter(|bound| value < bound - ROUNDING).map(|bound| Broken { limit, value, bound })
    });
    let over = high.into_iter().filter_map(|(limit, value, bound)| {
        bound.filter(|bound| value > bound + ROUNDING).map(|bound| Broken { limit, value, bound })
    });
    Verdict { dew_point_c, margin_c, broken: under.chain(over).collect() }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(air: f64, humidity: f64, steel: f64) -> Vec<&'static str> {
        let reading = Reading {
            air: Temperature::from_celsius(air).unwrap(),
            relative_humidity: RelativeHumidity::from_percent(humidity).unwrap(),
            steel: Temperature::from_celsius(steel).unwrap(),
        };
        let limits = Limits {
            dew_point_margin_c: Some(3.0),
            relative_humidity_max_percent: Some(85.0),
            steel_max_c: Some(60.0),
            ..Limits::default()
        };
        conditions(&reading, &limits).broken.into_iter().map(|it| it.limit).collect()
    }

    #[test]
    fn steel_within_3_kelvin_of_the_dew_point_is_refused() {
        // 3 °C: NACE RP0176-2003, 14.3.1 (page seen). Dew point 17.40 °C: psychrolib 2.5.0.
        assert_eq!(check(20.0, 85.0, 20.3), ["dew_point_margin_c"]);
        assert!(check(20.0, 85.0, 20.5).is_empty());
        // Dew point 23.93 °C: psychrolib 2.5.0.
        assert!(check(30.0, 70.0, 27.0).is_empty());
        assert_eq!(check(30.0, 70.0, 26.8), ["dew_point_margin_c"]);
    }

    #[test]
    fn exactly_on_a_limit_is_inside() {
        assert!(check(20.0, 85.0, 60.0).is_empty());
        assert_eq!(check(20.0, 85.1, 60.1), ["steel_max_c", "relative_humidity_max_percent"]);
    }
}
