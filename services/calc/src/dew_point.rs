//! Dew point over liquid water.

use units::{RelativeHumidity, Temperature};

/// The dew point over liquid water, by the Magnus form:
/// γ = ln(RH/100) + A·T/(B+T), Td = B·γ/(A−γ).
///
/// Coefficients A = 17.625, B = 243.04 °C: Alduchov and Eskridge 1996, J. Appl. Meteor. 35, 601
/// (title and abstract seen; coefficients from memory, held against psychrolib below). Within
/// 0.11 K of psychrolib 2.5.0 over −40 to 60 °C wherever the dew point is above 0.5 °C; below
/// freezing it stays the dew point over liquid water, not the frost point.
pub fn dew_point(air: Temperature, relative_humidity: RelativeHumidity) -> f64 {
    const A: f64 = 17.625;
    const B: f64 = 243.04;
    let t = air.as_celsius();
    // Not the logarithm of the quotient, which for the driest air a number can say is 0.
    let gamma = relative_humidity.as_percent().ln() - 100.0_f64.ln() + A * t / (B + t);
    B * gamma / (A - gamma)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn check(air_c: f64, percent: f64) -> f64 {
        let air = Temperature::from_celsius(air_c).unwrap();
        dew_point(air, RelativeHumidity::from_percent(percent).unwrap())
    }

    /// Computed with psychrolib 2.5.0 (SI, ASHRAE formulation), dew points above 0.5 °C.
    const PSYCHROLIB: [(f64, f64, f64); 21] = [
        (5.0, 85.0, 2.691),
        (8.0, 70.0, 2.868),
        (10.0, 80.0, 6.713),
        (10.0, 85.0, 7.598),
        (15.0, 50.0, 4.672),
        (15.0, 85.0, 12.501),
        (20.0, 30.0, 1.914),
        (20.0, 50.0, 9.272),
        (20.0, 65.0, 13.227),
        (20.0, 85.0, 17.403),
        (25.0, 60.0, 16.701),
        (25.0, 85.0, 22.302),
        (30.0, 40.0, 14.936),
        (30.0, 70.0, 23.928),
        (30.0, 85.0, 27.199),
        (35.0, 50.0, 23.020),
        (35.0, 75.0, 29.896),
        (40.0, 20.0, 12.783),
        (40.0, 60.0, 30.741),
        (45.0, 30.0, 23.393),
        (50.0, 15.0, 16.291),
    ];

    #[test]
    fn it_agrees_with_psychrolib() {
        for (air, humidity, expected) in PSYCHROLIB {
            let found = check(air, humidity);
            assert!((found - expected).abs() < 0.05, "{air} °C {humidity} %: {found} {expected}");
        }
    }

    /// The hot end and the edge above freezing, computed with psychrolib 2.5.0. On a grid of 1 K
    /// and 0.5 % over −40 to 60 °C the largest difference was 0.108 K, at 60 °C and 20.5 %.
    const PSYCHROLIB_HOT: [(f64, f64, f64); 11] = [
        (1.0, 99.0, 0.861),
        (3.0, 85.0, 0.728),
        (45.0, 60.0, 35.408),
        (50.0, 50.0, 36.688),
        (50.0, 90.0, 47.893),
        (55.0, 20.0, 24.908),
        (60.0, 5.0, 6.930),
        (60.0, 10.0, 17.453),
        (60.0, 20.5, 29.343),
        (60.0, 50.0, 45.755),
        (60.0, 80.0, 55.257),
    ];

    #[test]
    fn it_stays_within_0_15_kelvin_up_to_60_degrees() {
        for (air, humidity, expected) in PSYCHROLIB_HOT {
            let found = check(air, humidity);
            assert!((found - expected).abs() < 0.15, "{air} °C {humidity} %: {found} {expected}");
        }
    }

    #[test]
    fn below_freezing_it_is_the_dew_point_not_the_frost_point() {
        // MetPy 1.7.1 (over water): −9.201; psychrolib 2.5.0 answers the frost point, −8.164.
        assert!((check(0.0, 50.0) + 9.201).abs() < 0.02);
    }

    proptest! {
        #[test]
        fn it_is_the_air_at_100_percent_and_never_above(
            air in -40.0..60.0f64, humidity in 1.0..100.0f64,
        ) {
            prop_assert!((check(air, 100.0) - air).abs() < 1e-9);
            prop_assert!(check(air, humidity) <= air + 1e-9);
        }
    }
}
