//! Dew point: psychrolib 2.5.0 (ASHRAE formulation), pvlib 0.16.1 (Magnus form, coefficients of
//! WMO-No. 8).

use units::{RelativeHumidity, Temperature};

use crate::table::{Deviation, Row, Table};

fn table() -> Table {
    Table::read("tests/reference/tables/dew_point.csv")
}

fn found(row: Row<'_>) -> f64 {
    let air = Temperature::from_celsius(row.number("air_c")).unwrap();
    let percent = row.number("relative_humidity_percent");
    calc::dew_point(air, RelativeHumidity::from_percent(percent).unwrap())
}

/// Mean difference 0.015 K, largest 0.108 K, over 411 pairs.
#[test]
fn above_half_a_degree_it_is_within_0_15_kelvin_of_psychrolib() {
    let mut deviation = Deviation::default();
    for row in table().rows().filter(|row| row.number("psychrolib_c") > 0.5) {
        deviation.add(found(row) - row.number("psychrolib_c"));
    }
    deviation.tell("dew point over 0.5 °C, found less psychrolib, K");
    assert!(deviation.count >= 300);
    assert!(deviation.largest <= 0.15, "{}", deviation.largest);
}

/// Below freezing psychrolib answers the frost point over ice, another quantity, so it is asked
/// with its formula over water carried on. 0.35 K from −40 °C is what is said of these
/// coefficients (second-hand). Largest difference 0.108 K to psychrolib, 0.032 K to pvlib, over 846
/// pairs.
#[test]
fn from_minus_40_degrees_it_is_the_dew_point_over_water() {
    for reference in ["psychrolib_over_water_c", "wmo_c"] {
        let mut deviation = Deviation::default();
        for row in table().rows().filter(|row| row.number(reference) >= -40.0) {
            deviation.add(found(row) - row.number(reference));
        }
        deviation.tell(&format!("dew point from −40 °C, found less {reference}, K"));
        assert!(deviation.count >= 300);
        assert!(deviation.largest <= 0.35, "{reference}: {}", deviation.largest);
    }
}

/// Under 0 °C the frost point is the higher one; an answer over ice would show here.
#[test]
fn below_freezing_it_is_under_the_frost_point() {
    let rows = table();
    let cold = rows.rows().filter(|row| (-60.0..-1.0).contains(&row.number("psychrolib_c")));
    let below = cold.filter(|row| row.number("psychrolib_c") < row.number("air_c") - 0.5);
    let margins: Vec<_> = below.map(|row| row.number("psychrolib_c") - found(row)).collect();
    assert!(margins.len() >= 100);
    assert!(margins.iter().all(|margin| *margin > 0.0));
}
