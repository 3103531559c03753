//! Standard normal quantile: scipy 1.17.1, `scipy.stats.norm.ppf`.

use crate::table::{Deviation, Table};

/// Probabilities 1e-300 to 1 − 1e-10. Largest difference 7e-16 of z (of 1 where z is smaller).
#[test]
fn it_is_the_quantile_of_scipy() {
    let mut deviation = Deviation::default();
    for row in Table::read("tests/reference/tables/normal_quantile.csv").rows() {
        let z = row.number("z");
        let found = calc::normal_quantile(row.number("probability"));
        deviation.add((found - z) / z.abs().max(1.0));
    }
    deviation.tell("normal quantile, relative over 1");
    assert!(deviation.count >= 300);
    assert!(deviation.largest <= 5e-15, "{}", deviation.largest);
}
