//! The quantile of Student's t.

use std::f64::consts::{FRAC_2_PI, FRAC_PI_2};

use crate::normal::normal_quantile;

/// The t below which Student's t with that many degrees of freedom (1 or more) stays with
/// probability `p`, 0 < p < 1; NaN for 0 degrees of freedom.
///
/// Solves the finite series of Abramowitz and Stegun, Handbook of Mathematical Functions, 26.7.3
/// and 26.7.4, by halving; far out in a tail, where these are 1 less almost 1, the power series of
/// the incomplete beta function, 26.5.4 and 26.7.1; over 1000 degrees of freedom the expansion
/// 26.7.5 (numbers of the formulas from memory; all held against scipy in the tests).
pub fn student_quantile(p: f64, degrees: u64) -> f64 {
    if degrees == 0 {
        return f64::NAN;
    }
    if degrees > 1000 {
        return expansion(normal_quantile(p), degrees);
    }
    let beyond = 2.0 * p.min(1.0 - p);
    if beyond < TAIL {
        let size = as_number(degrees).sqrt() / tail_angle(beyond, degrees).tan();
        return if p < 0.5 { -size } else { size };
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

/// The chance of |t| under which the tail itself is solved for.
const TAIL: f64 = 1e-4;

/// The angle φ with P(|t| ≥ √ν cot φ) = `beyond`, to all digits however small it is.
fn tail_angle(beyond: f64, degrees: u64) -> f64 {
    let (mut low, mut high) = (0.0, FRAC_PI_2);
    loop {
        let middle = f64::midpoint(low, high);
        if middle <= low || middle >= high {
            return middle;
        }
        if chance_beyond(middle, degrees) < beyond { low = middle } else { high = middle }
    }
}

/// P(|t| ≥ √ν cot φ) = I_x(a, 1/2) with x = sin² φ and a = ν/2, which is
/// x^a / (a B(a, 1/2)) · (1 + 1/2 · a/(a + 1) x + 1/2 · 3/4 · a/(a + 2) x² + …); nothing cancels.
fn chance_beyond(angle: f64, degrees: u64) -> f64 {
    let sine = angle.sin();
    let (a, x) = (as_number(degrees) / 2.0, sine * sine);
    // 1 / (a B(a, 1/2)) is 2/π for a = 1/2 and 1/2 for a = 1, and (a + 1/2) / (a + 1) times that
    // for the next a.
    let odd = degrees % 2 == 1;
    let (mut chance, mut at) = if odd { (FRAC_2_PI * sine, 0.5) } else { (0.5 * x, 1.0) };
    while at < a {
        chance *= (at + 0.5) / (at + 1.0) * x;
        at += 1.0;
    }
    let (mut sum, mut term, mut n) = (1.0, 1.0, 0.0);
    while term > f64::EPSILON * (1.0 - x) {
        n += 1.0;
        term *= (n - 0.5) / n * x;
        sum += term * a / (a + n);
    }
    chance * sum
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

    /// Computed with scipy 1.17.1, `scipy.stats.t.ppf`; 1 and 2 degrees of freedom also by their
    /// closed forms, −cot π p and (2 p − 1) / √(2 p (1 − p)).
    const SCIPY_TAILS: [(f64, u64, f64); 16] = [
        (4e-5, 1, -7_957.747_112_706_864),
        (4e-5, 5, -11.704_888_385_151_897),
        (4e-5, 1000, -3.960_788_462_046_876_7),
        (1e-6, 1, -318_309.886_182_743_5),
        (1e-6, 4, -41.577_854_150_450_975),
        (1e-6, 100, -5.048_830_877_228_346),
        (7.105_427_357_601_002e-17, 1, -4_479_813_390_017_702.0),
        (7.105_427_357_601_002e-17, 2, -83_886_080.0),
        (7.105_427_357_601_002e-17, 3, -249_430.858_891_381_68),
        (7.105_427_357_601_002e-17, 10, -105.601_386_981_629_79),
        (7.105_427_357_601_002e-17, 29, -16.931_013_981_052_17),
        (7.105_427_357_601_002e-17, 999, -8.408_333_797_972_043),
        (7.105_427_357_601_002e-17, 1000, -8.408_186_272_092_445),
        (1e-30, 1, -3.183_098_861_837_907e29),
        (1e-30, 4, -41_617_914.502_878_13),
        (1e-30, 1000, -11.854_333_104_084_482),
    ];

    #[test]
    fn far_out_in_the_tails_it_keeps_its_digits() {
        for (p, degrees, expected) in SCIPY_TAILS {
            let found = student_quantile(p, degrees);
            assert!((found / expected - 1.0).abs() < 1e-10, "{p} {degrees}: {found} {expected}");
        }
        // By the expansion, which is rougher out there.
        for (degrees, expected) in [(1001, -8.408_039_045_303_51), (5000, -8.291_661_682_078_326)] {
            let found = student_quantile(7.105_427_357_601_002e-17, degrees);
            assert!((found / expected - 1.0).abs() < 1e-6, "{degrees}: {found} {expected}");
        }
        // 2^-20 and 1 − 2^-20 are exact, so the two sides mirror each other.
        let tail = 2.0_f64.powi(-20);
        for degrees in [1, 2, 7, 60, 1000] {
            let (low, high) =
                (student_quantile(tail, degrees), student_quantile(1.0 - tail, degrees));
            assert!((low + high).abs() <= 1e-12 * high, "{degrees}: {low} {high}");
        }
    }

    #[test]
    fn the_middle_is_0_and_no_degrees_of_freedom_are_nothing() {
        assert!(student_quantile(0.5, 3).abs() < 1e-12);
        assert!(student_quantile(0.9, 0).is_nan());
    }
}
