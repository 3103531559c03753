//! The quantile of Student's t.

use std::f64::consts::{FRAC_2_PI, FRAC_PI_2};

use crate::normal::normal_quantile;

/// The t below which Student's t with that many degrees of freedom (1 or more) stays with
/// probability `p`, 0 < p < 1; NaN for 0 degrees of freedom.
///
/// Solves the finite series of Abramowitz and Stegun, Handbook of Mathematical Functions, 26.7.3
/// and 26.7.4, by halving; over 1000 degrees of freedom the expansion 26.7.5 (numbers of the
/// formulas from memory; both held against scipy in the tests).
pub fn student_quantile(p: f64, degrees: u64) -> f64 {
    if degrees == 0 {
        return f64::NAN;
    }
    if degrees > 1000 {
        return expansion(normal_quantile(p), degrees);
    }
    let within = (2.0 * p - 1.0).abs();
    let (mut low, mut high) = (0.0, FRAC_PI_2);
    // An angle has 53 binary digits, and the first is at most 1.
    for _ in 0..60 {
        let middle = f64::midpoint(low, high);
        if chance_within(middle, degrees) < within { low = middle } else { high = middle }
    }
    let size = low.tan() * as_number(degrees).sqrt();
    if p < 0.5 { -size } else { size }
}

/// P(|t| ≤ √ν tan θ).
fn chance_within(angle: f64, degrees: u64) -> f64 {
    let (sine, cosine) = angle.sin_cos();
    let odd = degrees % 2 == 1;
    if degrees == 1 {
        return FRAC_2_PI * angle;
    }
    // Odd: cos θ + 2/3 cos³ θ + …; even: 1 + 1/2 cos² θ + …; the last power is ν − 2.
    let (mut term, mut power) = if odd { (cosine, 1) } else { (1.0, 0) };
    let mut sum = term;
    while power + 2 <= degrees - 2 {
        power += 2;
        term *= as_number(power - 1) / as_number(power) * cosine * cosine;
        sum += term;
    }
    if odd { FRAC_2_PI * (angle + sine * sum) } else { sine * sum }
}

fn expansion(z: f64, degrees: u64) -> f64 {
    let nu = as_number(degrees);
    let square = z * z;
    let first = z * (square + 1.0) / 4.0;
    let second = z * ((5.0 * square + 16.0) * square + 3.0) / 96.0;
    let third = z * (((3.0 * square + 19.0) * square + 17.0) * square - 15.0) / 384.0;
    z + (first + (second + third / nu) / nu) / nu
}

#[expect(clippy::cast_precision_loss, reason = "counts of records are far under 2^53")]
const fn as_number(count: u64) -> f64 {
    count as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Computed with scipy 1.17.1, `scipy.stats.t.ppf`; on both sides of the change of formula.
    const SCIPY: [(f64, u64, f64); 16] = [
        (0.975, 1, 12.706_204_736_174_694),
        (0.975, 2, 4.302_652_729_749_462),
        (0.975, 3, 3.182_446_305_283_707_8),
        (0.95, 4, 2.131_846_786_326_649_5),
        (0.975, 5, 2.570_581_835_636_314_6),
        (0.995, 9, 3.249_835_541_592_126),
        (0.9, 10, 1.372_183_641_110_336),
        (0.975, 29, 2.045_229_642_132_703),
        (0.975, 30, 2.042_272_456_301_237_8),
        (0.9995, 7, 5.407_882_520_861_828),
        (0.975, 100, 1.983_971_518_523_551_8),
        (0.975, 999, 1.962_341_461_133_449_3),
        (0.975, 1000, 1.962_339_080_826_408_3),
        (0.975, 1001, 1.962_336_705_280_879_8),
        (0.995, 5000, 2.576_812_966_556_280_2),
        (0.25, 6, -0.717_558_196_491_412_6),
    ];

    #[test]
    fn it_agrees_with_scipy() {
        for (p, degrees, expected) in SCIPY {
            let found = student_quantile(p, degrees);
            assert!((found / expected - 1.0).abs() < 1e-10, "{p} {degrees}: {found} {expected}");
        }
    }

    #[test]
    fn the_middle_is_0_and_no_degrees_of_freedom_are_nothing() {
        assert!(student_quantile(0.5, 3).abs() < 1e-12);
        assert!(student_quantile(0.9, 0).is_nan());
    }
}
