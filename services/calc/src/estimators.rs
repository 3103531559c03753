//! What the site's own records teach: its waste factor and its production rate.

use crate::{
    input::{Faults, InputError},
    student::student_quantile,
};

/// One record of material: what the take-off asked for and what was really used, in one unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WasteRecord {
    /// By the take-off, without waste, ≥ 0.
    pub taken_off: f64,
    /// Really used, ≥ 0.
    pub used: f64,
}

/// A number learnt from records, with an interval for it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The estimate.
    pub value: f64,
    /// Its standard error.
    pub standard_error: f64,
    /// Lower end of the interval, not under 0.
    pub low: f64,
    /// Upper end of the interval.
    pub high: f64,
    /// How many records it stands on.
    pub records: usize,
}

/// Why there is no estimate.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NoEstimate {
    /// A spread can't be told from so few.
    #[error("{have} records are too few: at least {LEAST_RECORDS} are needed")]
    TooFewRecords {
        /// How many there are.
        have: usize,
    },
    /// There is nothing to hold the use against.
    #[error("the records take off nothing, so there is no ratio")]
    NothingTakenOff,
    /// A record or the confidence makes no sense.
    #[error(transparent)]
    Invalid(#[from] InputError),
}

/// Two records are the least that tell a spread.
pub const LEAST_RECORDS: usize = 2;

/// The waste factor, used over taken off, such as 1.06: the ratio estimator Σ used / Σ taken off.
///
/// Its standard error is √(Σ (used − R · taken off)² / (n (n − 1))) over the mean taken off, and
/// the interval goes by Student's t with n − 1 degrees of freedom: the large-sample formula of the
/// ratio estimator without finite population correction (Cochran, Sampling Techniques, chapter 6;
/// from memory, unverified). With few records it is rough and a little too narrow.
pub fn waste_factor(
    records: &[WasteRecord],
    confidence_percent: f64,
) -> Result<Estimate, NoEstimate> {
    let mut faults = Faults::default();
    let (taken_off, used) =
        (records.iter().map(|it| it.taken_off), records.iter().map(|it| it.used));
    faults.each_at_least_zero(taken_off, |index| format!("records/{index}/taken_off"));
    faults.each_at_least_zero(used, |index| format!("records/{index}/used"));
    check(faults, records.len(), confidence_percent)?;
    let taken_off: f64 = records.iter().map(|record| record.taken_off).sum();
    if taken_off <= 0.0 {
        return Err(NoEstimate::NothingTakenOff);
    }
    let ratio = records.iter().map(|record| record.used).sum::<f64>() / taken_off;
    let squares = records.iter().map(|record| (record.used - ratio * record.taken_off).powi(2));
    let count = number(records.len());
    let spread = (squares.sum::<f64>() / (count * (count - 1.0))).sqrt();
    Ok(estimate(ratio, spread / (taken_off / count), records.len(), confidence_percent))
}

/// The production rate: the mean per working day, with the interval of Student's t for a mean,
/// n − 1 degrees of freedom (any textbook of statistics; days taken as independent).
///
/// `per_working_day`: what was made on each working day, ≥ 0; days off are left out.
pub fn production_rate(
    per_working_day: &[f64],
    confidence_percent: f64,
) -> Result<Estimate, NoEstimate> {
    let mut faults = Faults::default();
    let made = per_working_day.iter().copied();
    faults.each_at_least_zero(made, |index| format!("per_working_day/{index}"));
    check(faults, per_working_day.len(), confidence_percent)?;
    let count = number(per_working_day.len());
    let mean = per_working_day.iter().sum::<f64>() / count;
    let squares: f64 = per_working_day.iter().map(|made| (made - mean).powi(2)).sum();
    let error = (squares / (count * (count - 1.0))).sqrt();
    Ok(estimate(mean, error, per_working_day.len(), confidence_percent))
}

fn check(mut faults: Faults, have: usize, confidence_percent: f64) -> Result<(), NoEstimate> {
    faults.open_percent("confidence_percent", confidence_percent);
    faults.check()?;
    if have < LEAST_RECORDS { Err(NoEstimate::TooFewRecords { have }) } else { Ok(()) }
}

fn estimate(value: f64, standard_error: f64, records: usize, confidence_percent: f64) -> Estimate {
    let degrees = u64::try_from(records - 1).unwrap_or(u64::MAX);
    // The lower tail keeps its digits where the upper one would round to 1.
    let t = -student_quantile((100.0 - confidence_percent) / 200.0, degrees);
    let reach = t * standard_error;
    let low = (value - reach).max(0.0);
    Estimate { value, standard_error, low, high: value + reach, records }
}

#[expect(clippy::cast_precision_loss, reason = "counts of records are far under 2^53")]
const fn number(count: usize) -> f64 {
    count as f64
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn records(pairs: &[(f64, f64)]) -> Vec<WasteRecord> {
        pairs.iter().map(|&(taken_off, used)| WasteRecord { taken_off, used }).collect()
    }

    const FIVE: [(f64, f64); 5] =
        [(120.0, 131.0), (80.0, 83.0), (150.0, 158.0), (95.0, 104.0), (60.0, 62.0)];

    #[test]
    fn the_ratio_estimator_by_its_formula() {
        // Invented records; the formula evaluated with numpy 2.4.6 and scipy 1.17.1 (t of 4
        // degrees of freedom). The jackknife, another way to the standard error, gives 0.01218.
        let found = waste_factor(&records(&FIVE), 95.0).unwrap();
        assert!((found.value - 1.065_346_534_653_465_4).abs() < 1e-14);
        assert!((found.standard_error - 0.012_059_434_498_860_5).abs() < 1e-14);
        assert!((found.standard_error - 0.012_18).abs() < 0.0002);
        assert!((found.low - 1.031_864_176_767_650_9).abs() < 1e-10);
        assert!((found.high - 1.098_828_892_539_28).abs() < 1e-10);
        assert_eq!(found.records, 5);
    }

    #[test]
    fn the_mean_and_its_interval_as_scipy_gives_them() {
        // scipy 1.17.1: `stats.sem` and `stats.t.interval(0.95, 5, ..)`.
        let found = production_rate(&[18.0, 22.0, 25.0, 19.0, 0.0, 27.0], 95.0).unwrap();
        assert!((found.value - 18.5).abs() < 1e-14);
        assert!((found.standard_error - 3.956_008_088_970_497).abs() < 1e-13);
        assert!((found.low - 8.330_757_464_862_112).abs() < 1e-9);
        assert!((found.high - 28.669_242_535_137_89).abs() < 1e-9);
    }

    #[test]
    fn too_little_is_said_to_be_too_little() {
        let one = records(&[(10.0, 11.0)]);
        assert_eq!(waste_factor(&[], 95.0), Err(NoEstimate::TooFewRecords { have: 0 }));
        assert_eq!(waste_factor(&one, 95.0), Err(NoEstimate::TooFewRecords { have: 1 }));
        assert_eq!(production_rate(&[4.0], 95.0), Err(NoEstimate::TooFewRecords { have: 1 }));
        let nothing = records(&[(0.0, 1.0), (0.0, 2.0)]);
        assert_eq!(waste_factor(&nothing, 95.0), Err(NoEstimate::NothingTakenOff));
        let told = NoEstimate::TooFewRecords { have: 1 }.to_string();
        assert_eq!(told, "1 records are too few: at least 2 are needed");
    }

    #[test]
    fn a_confidence_next_to_certainty_still_has_its_interval() {
        // One digit under 100 %: 0.5 + c / 200 would round to 1. With one degree of freedom t is
        // the cotangent of π times the tail, 4.479 813 390 017 702e15; with 4 it is
        // 14 334.506 939 164 521 (both scipy 1.17.1, `stats.t.ppf`).
        let almost = 100.0_f64.next_down();
        let pair = production_rate(&[4.0, 6.0], almost).unwrap();
        assert!((pair.high / 4_479_813_390_017_702.0 - 1.0).abs() < 1e-9, "{pair:?}");
        assert!(pair.low.abs() < f64::MIN_POSITIVE);
        let five = waste_factor(&records(&FIVE), almost).unwrap();
        let reach = (five.high - five.value) / five.standard_error;
        assert!((reach / 14_334.506_939_164_521 - 1.0).abs() < 1e-9, "{reach}");
        for days in [2, 3, 500, 1001, 1002, 3000] {
            let steady = production_rate(&vec![3.0; days], almost).unwrap();
            assert!((steady.low - 3.0).abs() < 1e-9 && (steady.high - 3.0).abs() < 1e-9);
        }
    }

    #[test]
    fn a_record_that_makes_no_sense_is_named() {
        let wrong = records(&[(10.0, 11.0), (5.0, f64::NAN)]);
        let told = waste_factor(&wrong, 95.0).unwrap_err().to_string();
        assert_eq!(told, "records/1/used: NaN is not allowed: it must be 0 or more, and finite");
        assert!(matches!(production_rate(&[1.0, -1.0], 95.0), Err(NoEstimate::Invalid(_))));
        assert!(matches!(production_rate(&[1.0, 1.0], 100.0), Err(NoEstimate::Invalid(_))));
    }

    proptest! {
        #[test]
        fn a_steady_site_has_no_spread(
            taken_off in prop::collection::vec(1.0..500.0f64, 2..30), factor in 1.0..1.5f64,
        ) {
            let pairs: Vec<_> = taken_off.iter().map(|it| (*it, it * factor)).collect();
            let found = waste_factor(&records(&pairs), 95.0).unwrap();
            prop_assert!((found.value - factor).abs() < 1e-12);
            prop_assert!(found.standard_error < 1e-12);
        }

        #[test]
        fn another_unit_changes_no_ratio_and_scales_a_rate(
            made in prop::collection::vec(0.0..60.0f64, 2..30), unit in 0.1..40.0f64,
        ) {
            let pairs: Vec<_> = made.iter().map(|it| (it + 1.0, 1.1 * it + 1.0)).collect();
            let scaled: Vec<_> = pairs.iter().map(|(x, y)| (x * unit, y * unit)).collect();
            let (one, other) = (waste_factor(&records(&pairs), 90.0).unwrap(),
                waste_factor(&records(&scaled), 90.0).unwrap());
            prop_assert!((one.low - other.low).abs() < 1e-9);
            let many: Vec<_> = made.iter().map(|it| it * unit).collect();
            let (one, other) =
                (production_rate(&made, 90.0).unwrap(), production_rate(&many, 90.0).unwrap());
            prop_assert!((one.high * unit - other.high).abs() < 1e-6);
            prop_assert!(one.low >= 0.0 && one.low <= one.value && one.value <= one.high);
        }
    }
}
