//! Counting with floating-point numbers: when 4.999 999 999 9 is five.

/// Relative tolerance of every count and every comparison with a limit.
///
/// Far over the rounding of double precision (1 / (1 − 0.9) = 10.000 000 000 000 002) and far
/// under anything that can be measured or cut: a nanometre on a metre of tape.
pub(crate) const TOLERANCE: f64 = 1e-9;

/// The greatest number that is counted.
const COUNTABLE: f64 = 1e15;

fn nearly(value: f64, whole: f64) -> bool {
    (value - whole).abs() <= TOLERANCE * whole.abs().max(1.0)
}

/// The greatest whole number not over `value`; the nearest one where `value` is as good as whole.
/// None over 10^15, under 0 and for NaN.
pub(crate) fn floor(value: f64) -> Option<u64> {
    let nearest = value.round();
    count(if nearly(value, nearest) { nearest } else { value.floor() })
}

/// The least whole number not under `value`, by the same tolerance.
pub(crate) fn ceil(value: f64) -> Option<u64> {
    let nearest = value.round();
    count(if nearly(value, nearest) { nearest } else { value.ceil() })
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "the range is checked before, and the value is whole"
)]
fn count(whole: f64) -> Option<u64> {
    (0.0..=COUNTABLE).contains(&whole).then_some(whole as u64)
}

/// A count as a number.
#[expect(clippy::cast_precision_loss, reason = "counts are at most 10^15, exact in f64")]
pub(crate) const fn number(count: u64) -> f64 {
    count as f64
}

/// Whether `value` is at most `limit`; exactly on it counts as inside.
pub(crate) fn at_most(value: f64, limit: f64) -> bool {
    value <= limit + TOLERANCE * limit.abs().max(value.abs())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn as_good_as_whole_is_whole() {
        for (value, expected) in
            [(2.0, 2), (2.0f64.next_down(), 2), (4.999_999_999_9, 5), (4.999_999, 4), (0.0, 0)]
        {
            assert_eq!(floor(value), Some(expected), "{value}");
        }
        assert_eq!(ceil(5.000_000_000_1), Some(5));
        assert_eq!(ceil(5.000_001), Some(6));
    }

    #[test]
    fn what_cannot_be_counted_is_not() {
        for value in [f64::NAN, f64::INFINITY, -1.0, 1.1e15] {
            assert_eq!(floor(value), None, "{value}");
            assert_eq!(ceil(value), None, "{value}");
        }
    }
}
