//! Overlap, thickness and peel tests against system and plan. What was not measured shuts nothing:
//! how often to measure is the sampling plan's business.

use super::{Reasons, View};

/// Every overlap measured is at least what the layer asks for.
pub(super) fn overlap(view: &View<'_>) -> Reasons {
    let mut reasons = Reasons::default();
    let Some(assigned) = view.assigned else { return reasons };
    for applied in &view.state.coat.layers {
        let layer = assigned.system.layers.iter().find(|layer| layer.role == applied.role);
        let least = layer.and_then(|layer| layer.overlap_min_percent);
        if let (Some(measured), Some(least)) = (applied.overlap_percent, least)
            && measured < least
        {
            let what = applied.role.words();
            let detail =
                format!("overlap of the {what} is {measured} %, the system asks for {least} %");
            reasons.shut("OVERLAP_UNDER", detail, &[applied.mark]);
        }
    }
    reasons
}

/// The newest thickness measured is at least what the system asks for.
pub(super) fn thickness(view: &View<'_>) -> Reasons {
    let mut reasons = Reasons::default();
    let least = view.assigned.and_then(|assigned| assigned.system.thickness_min_mm);
    if let (Some((mark, measured)), Some(least)) = (view.state.coat.thicknesses.last(), least)
        && *measured < least
    {
        let detail = format!("the coating is {measured} mm thick, the system asks for {least} mm");
        reasons.shut("THICKNESS_UNDER", detail, &[*mark]);
    }
    reasons
}

/// The newest peel test passed, by look and by force.
pub(super) fn peel_tests(view: &View<'_>) -> Reasons {
    let mut reasons = Reasons::default();
    let Some(peel) = view.state.coat.peels.last() else { return reasons };
    if !peel.passed {
        reasons.shut("PEEL_TEST_FAILED", "the newest peel test failed", &[peel.mark]);
    }
    let least = view.assigned.and_then(|assigned| assigned.plan.peel_force_min_n_per_mm);
    if let (Some(force), Some(least)) = (peel.force_n_per_mm, least)
        && force < least
    {
        let detail = format!("peeled at {force} N/mm, the plan asks for {least} N/mm");
        reasons.shut("PEEL_FORCE_UNDER", detail, &[peel.mark]);
    }
    reasons
}
