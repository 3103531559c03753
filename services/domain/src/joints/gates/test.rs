//! The holiday test: the gate that no concession opens.

use calc::{RequiredVoltage, VoltageError};
use chrono::{DateTime, TimeDelta, Utc};
use units::{Length, Voltage};

use super::{Reasons, View};
use crate::{
    joints::{JointState, state::Test},
    setup::{Assignment, CoatingSystem},
};

/// The voltage that the plan's rule asks for on the layers applied so far; none on a joint
/// without tape.
///
/// The thickness is the sum of what the layers that are on add when applied as specified, each
/// once however often it was put on (common practice, no source: the nominal thickness of the
/// specified system).
pub fn required_voltage(
    state: &JointState,
    assigned: Assignment<'_>,
) -> Option<Result<RequiredVoltage, VoltageError>> {
    let thickness = applied_thickness_mm(state, assigned.system);
    if thickness <= 0.0 {
        return None;
    }
    let rule = &assigned.plan.voltage_rule;
    let rule =
        calc::VoltageRule { method: rule.method, cap_kv: rule.cap_kv, fixed_kv: rule.fixed_kv };
    let thickness = Length::from_millimetres(thickness).ok()?;
    Some(calc::required_voltage(thickness, &rule))
}

fn applied_thickness_mm(state: &JointState, system: &CoatingSystem) -> f64 {
    let on = |role| state.coat.layers.iter().any(|applied| applied.role == role);
    system.layers.iter().filter(|layer| on(layer.role)).map(|layer| layer.thickness_mm).sum()
}

/// A passed test, the newest, after everything that coated or disturbed the joint, at or over the
/// required voltage, with a detector inside its calibration.
pub(super) fn holiday_test(view: &View<'_>) -> Reasons {
    let mut reasons = Reasons::default();
    let Some(test) = view.state.newest_test() else {
        reasons.shut("HOLIDAY_TEST_MISSING", "there is no holiday test", &[]);
        return reasons;
    };
    if !test.passed {
        reasons.shut("HOLIDAY_TEST_FAILED", "the newest holiday test failed", &[test.mark]);
    }
    if let Some(since) = test.stale_since.filter(|since| since.event != test.mark.event) {
        let detail = "the joint was coated or disturbed after its newest holiday test";
        reasons.shut("HOLIDAY_TEST_STALE", detail, &[test.mark, since]);
    }
    // A clock that is a day ahead would put the test after a damage that is found tomorrow.
    if view.state.ahead.contains(&test.mark) {
        let detail = format!(
            "the newest holiday test is said to be of {}, after it was recorded: record it again \
             with its true time in place of this entry",
            test.mark.at
        );
        reasons.shut("HOLIDAY_TEST_AHEAD_OF_CLOCK", detail, &[test.mark]);
    }
    voltage(view, test, &mut reasons);
    let day = view.setup.day(test.mark.at);
    match view.setup.detectors.get(&test.detector) {
        None => {
            let detail = format!("detector {} is not known", test.detector);
            reasons.shut("DETECTOR_UNKNOWN", detail, &[test.mark]);
        }
        Some(detector) if !detector.calibrated(day) => {
            let detail = format!("detector {} had no calibration on {day}", test.detector);
            reasons.shut("DETECTOR_NOT_CALIBRATED", detail, &[test.mark]);
        }
        Some(_) => {}
    }
    reasons
}

fn voltage(view: &View<'_>, test: &Test, reasons: &mut Reasons) {
    match view.assigned.and_then(|assigned| required_voltage(view.state, assigned)) {
        Some(Ok(required)) => {
            let set = Voltage::from_kilovolts(test.voltage_kv).map(Voltage::to_nearest_volt);
            if set.is_ok_and(|set| set >= required.voltage.to_nearest_volt()) {
                return;
            }
            let (set, least) = (test.voltage_kv, required.voltage.as_kilovolts());
            let detail = format!("the test was made at {set} kV, required are {least:.3} kV");
            reasons.shut("HOLIDAY_TEST_VOLTAGE_LOW", detail, &[test.mark]);
        }
        Some(Err(why)) => {
            let detail = format!("the required voltage cannot be told: {why}");
            reasons.shut("REQUIRED_VOLTAGE_UNDEFINED", detail, &[test.mark]);
        }
        None => {
            let detail = "the required voltage cannot be told: no layer with a thickness is on";
            reasons.shut("REQUIRED_VOLTAGE_UNDEFINED", detail, &[test.mark]);
        }
    }
}

/// Until when the newest passed test is good for backfill.
pub(in crate::joints) fn fresh_until(test: &Test, test_valid_h: i64) -> DateTime<Utc> {
    test.mark.at + TimeDelta::hours(test_valid_h)
}

/// The test is young enough; exactly on the limit is young enough.
pub(super) fn freshness(view: &View<'_>, now: DateTime<Utc>) -> Reasons {
    let mut reasons = Reasons::default();
    let (Some(test), Some(assigned)) = (view.state.newest_test(), view.assigned) else {
        return reasons;
    };
    let hours = assigned.plan.test_valid_h;
    if test.passed && now > fresh_until(test, hours) {
        let at = test.mark.at;
        let detail =
            format!("the test of {at} is older than the {hours} h of the plan: test again");
        reasons.shut("HOLIDAY_TEST_TOO_OLD", detail, &[test.mark]);
    }
    reasons
}
