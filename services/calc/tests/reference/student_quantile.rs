//! Quantile of Student's t: scipy 1.17.1, `scipy.stats.t.ppf`.

use crate::table::{Deviation, Table};

/// 1 to a million degrees of freedom, probabilities 0.5 to 99.95 %. Largest difference 2e-11.
#[test]
fn it_is_the_quantile_of_scipy() {
    let mut deviation = Deviation::default();
    for row in Table::read("tests/reference/tables/student_quantile.csv").rows() {
        let t = row.number("t");
        let found = calc::student_quantile(row.number("probability"), row.count("degrees"));
        deviation.add((found - t) / t.abs().max(1.0));
    }
    deviation.tell("quantile of t, relative over 1");
    assert!(deviation.count >= 300);
    assert!(deviation.largest <= 1e-10, "{}", deviation.largest);
}
