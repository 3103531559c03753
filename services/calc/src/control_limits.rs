//! The p-chart: which share of a crew, a system or a shift is out of control.

use crate::input::{Faults, InputError};

/// What was inspected together: a day, a shift, a crew.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Subgroup {
    /// How many, at least 1.
    pub inspected: u64,
    /// How many of them did not conform.
    pub nonconforming: u64,
}

/// A subgroup against its limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ControlPoint {
    /// Nonconforming over inspected.
    pub p: f64,
    /// Lower limit, not under 0.
    pub lower: f64,
    /// Upper limit, not over 1.
    pub upper: f64,
    /// Outside its limits; exactly on one is inside.
    pub signal: bool,
}

/// The chart.
#[derive(Debug, Clone, PartialEq)]
pub struct ControlLimits {
    /// Total nonconforming over total inspected.
    pub p_bar: f64,
    /// One for each subgroup.
    pub points: Vec<ControlPoint>,
}

/// Far under the resolution of any share: keeps a limit that equals p but for rounding from
/// signalling.
const ROUNDING: f64 = 1e-12;

/// Shewhart's p-chart with limits for each subgroup's own size:
/// p̄ ± sigmas √(p̄ (1 − p̄) / inspected). Usual are 3 sigmas (common practice, no source).
///
/// Refuses an empty chart, a subgroup with nothing inspected or with more nonconforming than
/// inspected, and `sigmas` that is not over 0.
#[expect(clippy::cast_precision_loss, reason = "counts of joints are far under 2^53")]
pub fn control_limits(subgroups: &[Subgroup], sigmas: f64) -> Result<ControlLimits, InputError> {
    check(subgroups, sigmas)?;
    let total = |of: fn(&Subgroup) -> u64| subgroups.iter().map(|it| of(it) as f64).sum::<f64>();
    let p_bar = total(|it| it.nonconforming) / total(|it| it.inspected);
    let points = subgroups.iter().map(|subgroup| {
        let inspected = subgroup.inspected as f64;
        let p = subgroup.nonconforming as f64 / inspected;
        let reach = sigmas * (p_bar * (1.0 - p_bar) / inspected).sqrt();
        let (lower, upper) = ((p_bar - reach).max(0.0), (p_bar + reach).min(1.0));
        let signal = p < lower - ROUNDING || p > upper + ROUNDING;
        ControlPoint { p, lower, upper, signal }
    });
    Ok(ControlLimits { p_bar, points: points.collect() })
}

fn check(subgroups: &[Subgroup], sigmas: f64) -> Result<(), InputError> {
    let mut faults = Faults::default();
    if subgroups.is_empty() {
        faults.refuse("subgroups", "a chart needs at least one subgroup");
    }
    for (index, subgroup) in subgroups.iter().enumerate() {
        if subgroup.inspected == 0 {
            let field = format!("subgroups/{index}/inspected");
            faults.refuse(&field, "0 is not allowed: it must be 1 or more");
        } else if subgroup.nonconforming > subgroup.inspected {
            let field = format!("subgroups/{index}/nonconforming");
            let (found, most) = (subgroup.nonconforming, subgroup.inspected);
            faults.refuse(&field, format!("{found} is not allowed: it must be 0 to {most}"));
        }
    }
    faults.over_zero("sigmas", sigmas);
    faults.check()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn subgroups(counts: &[(u64, u64)]) -> Vec<Subgroup> {
        let each = counts.iter();
        each.map(|&(inspected, nonconforming)| Subgroup { inspected, nonconforming }).collect()
    }

    #[test]
    fn a_chart_by_hand() {
        // p̄ = 15/300 = 0.05; √(0.05 · 0.95 / 100) = 0.021 794 495; 3 of them 0.065 383 484;
        // limits 0 and 0.115 383 484: arithmetic by hand.
        let chart = control_limits(&subgroups(&[(100, 2), (100, 1), (100, 12)]), 3.0).unwrap();
        assert!((chart.p_bar - 0.05).abs() < 1e-15);
        assert!((chart.points[0].upper - 0.115_383_484).abs() < 1e-9);
        assert!(chart.points[0].lower.abs() < f64::MIN_POSITIVE);
        let signals: Vec<_> = chart.points.iter().map(|it| it.signal).collect();
        assert_eq!(signals, [false, false, true]);
    }

    #[test]
    fn a_subgroup_of_its_own_size_has_its_own_limits() {
        // p̄ = 0.1; 400 inspected: 0.1 ± 3 · 0.015 = 0.055 to 0.145; 100: 0.1 ± 0.09. By hand.
        let chart = control_limits(&subgroups(&[(400, 40), (100, 10)]), 3.0).unwrap();
        assert!((chart.points[0].lower - 0.055).abs() < 1e-12);
        assert!((chart.points[0].upper - 0.145).abs() < 1e-12);
        assert!((chart.points[1].lower - 0.01).abs() < 1e-12);
        assert!((chart.points[1].upper - 0.19).abs() < 1e-12);
    }

    #[test]
    fn exactly_on_a_limit_is_inside() {
        // p̄ = ½ of 32; each of 16 reaches ½ ± sigmas · 0.125; with 2 sigmas 4 of 16 lie on it.
        let chart = control_limits(&subgroups(&[(16, 4), (16, 12)]), 2.0).unwrap();
        assert!(chart.points.iter().all(|point| !point.signal));
        let chart = control_limits(&subgroups(&[(16, 3), (16, 13)]), 2.0).unwrap();
        assert!(chart.points.iter().all(|point| point.signal));
    }

    #[test]
    fn what_is_no_chart_is_refused() {
        for (counts, sigmas, pointer) in [
            (&[][..], 3.0, "subgroups"),
            (&[(5, 1), (0, 0)], 3.0, "subgroups/1/inspected"),
            (&[(5, 6)], 3.0, "subgroups/0/nonconforming"),
            (&[(5, 1)], 0.0, "sigmas"),
            (&[(5, 1)], f64::NAN, "sigmas"),
        ] {
            let fields = control_limits(&subgroups(counts), sigmas).unwrap_err().faults;
            assert_eq!(fields[0].field, pointer);
            assert_eq!(fields.len(), 1);
        }
    }

    proptest! {
        /// Shares, and so p̄, stay; a subgroup k times the size has limits √k times as close.
        #[test]
        fn a_larger_sample_has_closer_limits(
            counts in prop::collection::vec((1u64..200, 0.0..1.0f64), 1..20), k in 2u32..9,
        ) {
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss,
                clippy::cast_precision_loss, reason = "small counts")]
            let counts: Vec<(u64, u64)> =
                counts.into_iter().map(|(n, share)| (n, (n as f64 * share) as u64)).collect();
            let scaled: Vec<_> =
                counts.iter().map(|(n, x)| (n * u64::from(k), x * u64::from(k))).collect();
            let (one, many) = (
                control_limits(&subgroups(&counts), 3.0).unwrap(),
                control_limits(&subgroups(&scaled), 3.0).unwrap(),
            );
            let p_bar = one.p_bar;
            prop_assert!((p_bar - many.p_bar).abs() < 1e-12);
            for (one, many) in one.points.iter().zip(&many.points) {
                prop_assert!((one.p - many.p).abs() < 1e-12);
                prop_assert!((0.0..=1.0).contains(&one.lower) && (0.0..=1.0).contains(&one.upper));
                if one.upper < 1.0 {
                    let (wide, close) = (one.upper - p_bar, many.upper - p_bar);
                    prop_assert!((wide - close * f64::from(k).sqrt()).abs() < 1e-9);
                }
            }
        }
    }
}
