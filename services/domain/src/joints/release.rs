//! The backfill release: a permission, refused with every reason at once.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{Assessment, GateKind, JointState, assess::ReleaseInForce, gates::Gate};
use crate::{
    ids::{EventId, UserId},
    setup::ProjectSetup,
};

/// One reason against a release.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct BlockingCondition {
    /// The gate, or `release` where the ask itself is out of place.
    pub gate: String,
    /// Stable code.
    pub code: String,
    /// The plain reason.
    pub detail: String,
}

/// The answer to an ask for release.
#[derive(Debug, Clone, PartialEq)]
pub enum Decision {
    /// It may be released on this test.
    Granted {
        /// The passed test it stands on.
        holiday_test: EventId,
    },
    /// A release is in force already.
    AlreadySo(ReleaseInForce),
    /// Refused.
    Refused(Vec<BlockingCondition>),
}

/// Decides whether `signer` may release the joint.
pub fn release(
    state: &JointState,
    assessment: &Assessment,
    in_force: Option<&ReleaseInForce>,
    signer: UserId,
    setup: &ProjectSetup,
) -> Decision {
    let mut against: Vec<BlockingCondition> = assessment.shut().flat_map(conditions).collect();
    if applied_by(state, signer, setup) {
        against.push(condition(
            "APPLICATOR_CANNOT_RELEASE",
            "who put the coating on cannot release it; another QA manager signs",
        ));
    }
    if let (Some(release), true) = (in_force, against.is_empty()) {
        return Decision::AlreadySo(release.clone());
    }
    if state.buried().is_some() {
        against.push(condition("ALREADY_BACKFILLED", "the joint is under the soil already"));
    }
    match state.newest_test() {
        Some(test) if against.is_empty() => Decision::Granted { holiday_test: test.mark.event },
        _ => Decision::Refused(against),
    }
}

fn conditions(gate: &Gate) -> impl Iterator<Item = BlockingCondition> {
    let name = gate_name(gate.gate);
    gate.reasons.iter().map(move |reason| BlockingCondition {
        gate: name.clone(),
        code: reason.code.clone(),
        detail: reason.detail.clone(),
    })
}

fn condition(code: &str, detail: &str) -> BlockingCondition {
    BlockingCondition { gate: "release".into(), code: code.into(), detail: detail.into() }
}

/// The gate's name in JSON.
pub fn gate_name(gate: GateKind) -> String {
    serde_json::to_value(gate)
        .ok()
        .and_then(|it| it.as_str().map(str::to_owned))
        .unwrap_or_default()
}

fn applied_by(state: &JointState, signer: UserId, setup: &ProjectSetup) -> bool {
    let person = setup.person_of(signer).map(|person| person.code.as_str());
    state.coat.works.iter().any(|work| match &work.applicator {
        Some(code) => Some(code.as_str()) == person,
        None => work.recorded_by == signer,
    })
}

/// The reasons by which newly recorded facts contradict a release in force: reasons that were not
/// there before them. A change of the set-up alone contradicts nothing.
pub fn contradictions(before: &Assessment, after: &Assessment) -> Vec<BlockingCondition> {
    let against = |assessment: &Assessment| -> Vec<BlockingCondition> {
        let gates = assessment.shut().filter(|gate| gate.gate.contradicts());
        gates.flat_map(conditions).collect()
    };
    let known = against(before);
    against(after).into_iter().filter(|reason| !known.contains(reason)).collect()
}

/// Whether the very test that a release stands on was withdrawn, or something coated or disturbed
/// the joint after it: then the release is contradicted, also where a newer test makes good what
/// happened, for nobody released the joint on that one.
pub fn test_lost(release: &ReleaseInForce, state: &JointState) -> Option<BlockingCondition> {
    let test = state.tests.iter().find(|test| test.mark.event == release.holiday_test);
    match test {
        None => Some(condition(
            "RELEASE_TEST_WITHDRAWN",
            "the holiday test that the release stands on was withdrawn",
        )),
        Some(test) if test.stale_since.is_some() => Some(condition(
            "RELEASE_TEST_STALE",
            "the joint was coated or disturbed after the holiday test that the release stands on",
        )),
        Some(_) => None,
    }
}
