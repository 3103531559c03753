//! The backfill release: a permission, refused with every reason at once.

use serde::{Deserialize, Serialize};
use units::Voltage;
use utoipa::ToSchema;

use super::{
    Assessment, GateKind, JointState, RegisterEntry,
    assess::ReleaseInForce,
    gates::{self, Gate},
};
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

/// Whether `signer` put some of the coating on.
pub(super) fn applied_by(state: &JointState, signer: UserId, setup: &ProjectSetup) -> bool {
    state.coat.works.iter().any(|work| match &work.applicator {
        // One user may stand for several people of the list.
        Some(code) => setup.people.get(code).is_some_and(|person| person.user == Some(signer)),
        None => work.recorded_by == signer,
    })
}

/// The reasons by which a newly recorded fact contradicts a release in force: reasons that were
/// not there before it. A change of the set-up alone contradicts nothing.
pub fn contradictions(before: &Assessment, after: &Assessment) -> Vec<BlockingCondition> {
    let against = |assessment: &Assessment| -> Vec<BlockingCondition> {
        let gates = assessment.shut().filter(|gate| gate.gate.contradicts());
        gates.flat_map(conditions).collect()
    };
    let known = against(before);
    against(after).into_iter().filter(|reason| !known.contains(reason)).collect()
}

/// What undoes a release though every gate may be open: its own test is lost or too weak, it came
/// too late, or its signer may not have given it. A newer test makes nothing of this good, for
/// nobody released the joint on that one.
pub fn undone(
    release: &ReleaseInForce,
    state: &JointState,
    entry: &RegisterEntry,
    setup: &ProjectSetup,
) -> Vec<BlockingCondition> {
    let mut found: Vec<BlockingCondition> =
        test_lost(release, state, entry, setup).into_iter().collect();
    if state.buried().is_some_and(|mark| mark.at < release.released_at) {
        found.push(condition(
            "BACKFILLED_BEFORE_RELEASE",
            "the joint was under the soil before it was released",
        ));
    }
    if applied_by(state, release.signer, setup) {
        found.push(condition(
            "APPLICATOR_CANNOT_RELEASE",
            "who signed the release had put the coating on",
        ));
    }
    found
}

/// The test that a release stands on was withdrawn, something coated or disturbed the joint after
/// it, or the layers ask for more than its voltage.
fn test_lost(
    release: &ReleaseInForce,
    state: &JointState,
    entry: &RegisterEntry,
    setup: &ProjectSetup,
) -> Option<BlockingCondition> {
    let test = state.tests.iter().find(|test| test.mark.event == release.holiday_test);
    let Some(test) = test else {
        return Some(condition(
            "RELEASE_TEST_WITHDRAWN",
            "the holiday test that the release stands on was withdrawn",
        ));
    };
    if test.stale_since.is_some() {
        return Some(condition(
            "RELEASE_TEST_STALE",
            "the joint was coated or disturbed after the holiday test that the release stands on",
        ));
    }
    let required = gates::required_voltage(state, setup.assignment(entry)?)?.ok()?;
    let set = Voltage::from_kilovolts(test.voltage_kv).ok()?;
    (set.to_nearest_volt() < required.voltage.to_nearest_volt()).then(|| {
        condition(
            "RELEASE_TEST_VOLTAGE_LOW",
            "the layers ask for more than the voltage of the holiday test that the release \
             stands on",
        )
    })
}
