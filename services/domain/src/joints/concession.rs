//! Use as is under concession: what two people may open, and for which reasons exactly.
//!
//! A concession is of one nonconformance of one joint. It closes that, and opens gates for the very
//! reasons that were shown; another reason shuts the gate again. Two people sign, one of them a QA
//! manager, neither of whom put the coating on (ISO 9001, 8.7, has the words, from memory; the two
//! people are common practice, no source).

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{
    Assessment, GateKind, JointState,
    gates::Reason,
    release::{BlockingCondition, applied_by, gate_name},
};
use crate::{
    access::Role,
    ids::{ConcessionId, EventId, UserId},
    setup::ProjectSetup,
};

/// A reason of a gate, as it was shown when it was waived.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Waived {
    /// The gate.
    pub gate: GateKind,
    /// The reason.
    #[serde(flatten)]
    pub reason: Reason,
}

/// A reason that a concession in force waives.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Waiver {
    /// The concession.
    pub concession: ConcessionId,
    /// What it waives.
    #[serde(flatten)]
    pub waived: Waived,
}

/// The nonconformance that a concession would close.
#[derive(Debug, Clone, Copy)]
pub struct About<'a> {
    /// Its code.
    pub code: &'a str,
    /// The fact that it is about.
    pub event: Option<EventId>,
}

/// Somebody who signs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Signer {
    /// Who.
    pub user: UserId,
    /// As what they are a member now.
    pub role: Option<Role>,
}

/// The reasons that a concession of `gates` would waive, as the joint stands. The gate of the
/// nonconformances has none: a concession closes its own nonconformance, and every other one is
/// decided by itself.
pub fn waived(assessment: &Assessment, gates: &[GateKind]) -> Vec<Waived> {
    let asked = assessment.gates.iter().filter(|it| {
        gates.contains(&it.gate) && it.gate.waivable() && it.gate != GateKind::Nonconformances
    });
    asked
        .flat_map(|gate| {
            gate.reasons.iter().map(|reason| Waived { gate: gate.gate, reason: reason.clone() })
        })
        .collect()
}

/// Every reason why `signer` may not propose a concession of `gates`.
pub fn against_proposal(
    (state, assessment): (&JointState, &Assessment),
    setup: &ProjectSetup,
    about: About<'_>,
    gates: &[GateKind],
    signer: Signer,
) -> Vec<BlockingCondition> {
    let mut against = against_gates(assessment, gates);
    against.extend(against_use(assessment, about));
    if applied_by(state, signer.user, setup) {
        against.push(condition(
            "concession",
            "APPLICATOR_CANNOT_SIGN",
            "who put the coating on signs no concession of it; another person does",
        ));
    }
    against
}

/// Every reason why `second` may not approve what `first` proposed.
pub fn against_approval(
    joint: (&JointState, &Assessment),
    setup: &ProjectSetup,
    about: About<'_>,
    gates: &[GateKind],
    (first, second): (Signer, Signer),
) -> Vec<BlockingCondition> {
    let mut against = against_proposal(joint, setup, about, gates, second);
    if applied_by(joint.0, first.user, setup) && first.user != second.user {
        against.push(condition(
            "concession",
            "APPLICATOR_CANNOT_SIGN",
            "who proposed the concession had put the coating on",
        ));
    }
    if first.user == second.user {
        against.push(condition(
            "concession",
            "SAME_PERSON",
            "who proposed the concession cannot approve it; another person does",
        ));
    }
    if ![first, second].iter().any(|it| it.role == Some(Role::QaManager)) {
        against.push(condition(
            "concession",
            "QA_MANAGER_NEEDED",
            "one of the two who sign a concession is a QA manager",
        ));
    }
    against
}

fn against_gates(assessment: &Assessment, gates: &[GateKind]) -> Vec<BlockingCondition> {
    let mut against = Vec::new();
    for &kind in gates {
        let name = gate_name(kind);
        if !kind.waivable() {
            let detail = format!("no concession opens the gate {name}");
            against.push(condition(&name, "NOT_WAIVABLE", detail));
        } else if assessment.gate(kind).is_none_or(|gate| gate.open) {
            let detail = format!("the gate {name} is open: there is nothing to waive");
            against.push(condition(&name, "NOTHING_TO_WAIVE", detail));
        }
    }
    against
}

/// What no concession settles: a finding of a gate that none opens, and a joint that was released
/// or buried while its test does not hold.
fn against_use(assessment: &Assessment, about: About<'_>) -> Vec<BlockingCondition> {
    let hard = || assessment.gates.iter().filter(|gate| !gate.gate.waivable());
    let is_of_joint = ["RELEASE_CONTRADICTED", "BURIED_UNRELEASED"].contains(&about.code);
    let found = hard().find(|gate| {
        let tells = |reason: &Reason| {
            reason.code == about.code
                && reason.evidence.last().is_some_and(|it| Some(*it) == about.event)
        };
        let unsound = matches!(gate.gate, GateKind::HolidayTest | GateKind::Damage) && !gate.open;
        gate.reasons.iter().any(tells) || is_of_joint && unsound
    });
    let told = found.map(|gate| {
        let name = gate_name(gate.gate);
        let detail = format!("the gate {name} is shut, which no concession opens");
        condition(&name, "NOT_WAIVABLE", detail)
    });
    told.into_iter().collect()
}

fn condition(gate: &str, code: &str, detail: impl Into<String>) -> BlockingCondition {
    BlockingCondition { gate: gate.to_owned(), code: code.to_owned(), detail: detail.into() }
}
