//! Lots that were found bad after they had been used.

use super::{
    Finding, JointState, Severity,
    findings::severity_of,
    state::{Weld, Work},
};
use crate::setup::{InspectionPlan, ProjectSetup};

/// The code of the finding.
pub const LOT_RECALLED: &str = "LOT_RECALLED";

/// What lies on the joint and was recalled since: a lot that counts as held at the time of its use
/// by a quarantine that was decided later. Whoever used a lot that was held already is told by the
/// gate of the materials alone.
pub fn recalled(
    state: &JointState,
    setup: &ProjectSetup,
    plan: Option<&InspectionPlan>,
) -> Vec<Finding> {
    if matches!(state.weld, Weld::CutOut(_)) {
        return Vec::new();
    }
    let severity =
        if state.buried().is_some() { Severity::Critical } else { severity_of(LOT_RECALLED, plan) };
    let of = |work: &Work| {
        let recalls = work.lots.iter().filter_map(|code| {
            let held = setup.lots.get(code)?.quarantined_at(work.mark.at)?;
            let later = held.decided_at.is_some_and(|decided| work.mark.at < decided);
            later.then(|| format!("lot {code} was recalled after its use: {}", held.reason))
        });
        let details: Vec<String> = recalls.collect();
        let code = LOT_RECALLED.to_owned();
        (!details.is_empty()).then(|| Finding {
            code,
            severity,
            detail: details.join("; "),
            event: work.mark.event,
        })
    };
    state.coat.works.iter().filter_map(of).collect()
}
