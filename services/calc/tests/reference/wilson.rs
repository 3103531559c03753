//! Wilson score interval: scipy 1.17.1, `scipy.stats.binomtest(..).proportion_ci`.

use crate::table::{Deviation, Table};

/// 1 to 288 380 inspected, none to all nonconforming, confidence 50 to 99.9 %. Largest difference
/// 2e-15.
#[test]
fn it_is_the_interval_of_scipy() {
    let mut deviation = Deviation::default();
    for row in Table::read("tests/reference/tables/wilson.csv").rows() {
        let found = calc::wilson_interval(
            row.count("inspected"),
            row.count("nonconforming"),
            row.number("confidence_percent"),
        );
        let found = found.unwrap();
        deviation.add(found.low - row.number("low"));
        deviation.add(found.high - row.number("high"));
    }
    deviation.tell("ends of the Wilson interval");
    assert!(deviation.count >= 600);
    assert!(deviation.largest <= 1e-13, "{}", deviation.largest);
}
