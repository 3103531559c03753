//! How far a share seen in a sample can be trusted.

use crate::{
    input::{Faults, InputError},
    normal::normal_quantile,
};

/// An interval for a proportion, within 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ProportionInterval {
    /// Its lower end; 0 where nothing was nonconforming.
    pub low: f64,
    /// Its upper end; 1 where everything was.
    pub high: f64,
}

/// The score interval of E. B. Wilson 1927, J. Am. Stat. Assoc. 22, 209 (from memory, held against
/// reference libraries in the tests), without continuity correction.
///
/// `inspected` ≥ 1, `nonconforming` ≤ `inspected`, confidence over 0 and under 100 %.
#[expect(clippy::cast_precision_loss, reason = "counts of joints are far under 2^53")]
pub fn wilson_interval(
    inspected: u64,
    nonconforming: u64,
    confidence_percent: f64,
) -> Result<ProportionInterval, InputError> {
    let mut faults = Faults::default();
    if inspected == 0 {
        faults.refuse("inspected", "0 is not allowed: it must be 1 or more");
    } else if nonconforming > inspected {
        let detail = format!("{nonconforming} is not allowed: it must be 0 to {inspected}");
        faults.refuse("nonconforming", detail);
    }
    faults.open_percent("confidence_percent", confidence_percent);
    faults.check()?;
    let (n, p) = (inspected as f64, nonconforming as f64 / inspected as f64);
    // The lower tail keeps its digits where the upper one would round to 1.
    let z = -normal_quantile((100.0 - confidence_percent) / 200.0);
    let share = z * z / n;
    let middle = (p + share / 2.0) / (1.0 + share);
    let reach = z / (1.0 + share) * (p * (1.0 - p) / n + share / (4.0 * n)).sqrt();
    Ok(ProportionInterval {
        low: if nonconforming == 0 { 0.0 } else { (middle - reach).max(0.0) },
        high: if nonconforming == inspected { 1.0 } else { (middle + reach).min(1.0) },
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Computed with scipy 1.17.1: `scipy.stats.binomtest(..).proportion_ci(method="wilson")`.
    /// Inspected, nonconforming, confidence in %, low, high.
    const SCIPY: [(u64, u64, f64, f64, f64); 9] = [
        (10, 0, 95.0, 0.0, 0.277_532_799_862_889_26),
        (10, 1, 95.0, 0.017_876_213_095_072_896, 0.404_150_026_795_238_5),
        (10, 5, 95.0, 0.236_593_090_512_564, 0.763_406_909_487_436_1),
        (10, 10, 95.0, 0.722_467_200_137_110_9, 1.0),
        (250, 3, 95.0, 0.004_089_319_880_534_297_5, 0.034_680_780_427_019_61),
        (120, 17, 99.0, 0.078_444_598_009_539_47, 0.242_437_699_774_825_93),
        (1, 0, 90.0, 0.0, 0.730_134_051_215_945_8),
        (1, 1, 90.0, 0.269_865_948_784_054_1, 1.0),
        (2100, 40, 99.9, 0.011_418_603_644_679_43, 0.031_610_759_637_436_925),
    ];

    #[test]
    fn it_agrees_with_scipy() {
        for (inspected, nonconforming, confidence, low, high) in SCIPY {
            let found = wilson_interval(inspected, nonconforming, confidence).unwrap();
            let apart = (found.low - low).abs().max((found.high - high).abs());
            assert!(apart < 1e-14, "{nonconforming} of {inspected}: {found:?}");
        }
    }

    #[test]
    fn the_ends_are_exact() {
        assert!(wilson_interval(7, 0, 95.0).unwrap().low.abs() < f64::MIN_POSITIVE);
        assert!((wilson_interval(7, 7, 95.0).unwrap().high - 1.0).abs() < f64::MIN_POSITIVE);
    }

    #[test]
    fn what_is_no_sample_is_refused() {
        for (inspected, nonconforming, confidence, pointer) in [
            (0, 0, 95.0, "inspected"),
            (5, 6, 95.0, "nonconforming"),
            (5, 1, 0.0, "confidence_percent"),
            (5, 1, 100.0, "confidence_percent"),
            (5, 1, f64::NAN, "confidence_percent"),
        ] {
            let fields = wilson_interval(inspected, nonconforming, confidence).unwrap_err().faults;
            assert_eq!(fields[0].field, pointer);
        }
    }

    proptest! {
        #[test]
        fn it_lies_within_0_and_1_around_the_share(
            n in 1u64..100_000, part in 0u64..100_000, confidence in 0.1..99.999f64,
        ) {
            let found = wilson_interval(n, part % (n + 1), confidence).unwrap();
            #[expect(clippy::cast_precision_loss, reason = "small counts")]
            let p = (part % (n + 1)) as f64 / n as f64;
            prop_assert!(0.0 <= found.low && found.high <= 1.0);
            prop_assert!(found.low <= p + 1e-12 && p <= found.high + 1e-12);
        }

        /// The definition: at an end q of the interval, the share seen lies exactly z standard
        /// deviations of q away from it.
        #[test]
        fn its_ends_solve_the_score_equation(n in 2u64..5000, part in 0u64..5000) {
            let nonconforming = 1 + part % (n - 1);
            let found = wilson_interval(n, nonconforming, 95.0).unwrap();
            #[expect(clippy::cast_precision_loss, reason = "small counts")]
            let (n, p) = (n as f64, nonconforming as f64 / n as f64);
            for end in [found.low, found.high] {
                let z = (p - end).abs() / (end * (1.0 - end) / n).sqrt();
                // z of 97.5 %: 1.959 963 985 (scipy 1.17.1).
                prop_assert!((z - 1.959_963_985).abs() < 1e-6, "{z}");
            }
        }

        #[test]
        fn conforming_and_nonconforming_mirror(n in 1u64..1000, part in 0u64..1000) {
            let nonconforming = part % (n + 1);
            let one = wilson_interval(n, nonconforming, 90.0).unwrap();
            let other = wilson_interval(n, n - nonconforming, 90.0).unwrap();
            prop_assert!((one.low - (1.0 - other.high)).abs() < 1e-12);
        }
    }
}
