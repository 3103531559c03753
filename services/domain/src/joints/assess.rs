//! The judgement of one joint: stage, flags, gates, findings, next steps.

use chrono::{DateTime, Utc};

use super::{
    Finding, Flag, Gate, GateKind, JointState, RegisterEntry, Severity, Stage,
    concession::Waiver,
    findings, gates,
    next_steps::{self, NextStep},
    nonconformance::Scope,
    recall, stage,
    state::Weld,
};
use crate::{
    ambient::StationReading,
    ids::{EventId, NonconformanceId, ReleaseId, UserId},
    setup::ProjectSetup,
};

/// A release that counts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReleaseInForce {
    /// Its id.
    pub id: ReleaseId,
    /// The passed test it stands on.
    pub holiday_test: EventId,
    /// When it was given.
    pub released_at: DateTime<Utc>,
    /// Who signed it.
    pub signer: UserId,
}

/// An open nonconformance.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OpenNonconformance {
    /// Its id.
    pub id: NonconformanceId,
    /// Its number in the project.
    pub number: i64,
    /// How bad.
    pub severity: Severity,
    /// What it is.
    pub nature: String,
    /// What it is about; it counts for a joint that is among that.
    pub scope: Scope,
}

/// What the facts do not say.
#[derive(Debug, Clone, PartialEq)]
pub struct Outside {
    /// The release in force.
    pub release: Option<ReleaseInForce>,
    /// A release was contradicted and no newer one is in force.
    pub contradicted: bool,
    /// Open nonconformances: those of the joint, and those of lots, crews and stretches.
    pub nonconformances: Vec<OpenNonconformance>,
    /// What concessions in force waive.
    pub waivers: Vec<Waiver>,
    /// From which severity they block.
    pub blocking_from: Severity,
    /// Readings of the weather that can speak for its facts, in any order.
    pub readings: Vec<StationReading>,
}

impl Default for Outside {
    fn default() -> Self {
        Self {
            release: None,
            contradicted: false,
            nonconformances: Vec::new(),
            waivers: Vec::new(),
            blocking_from: Severity::Major,
            readings: Vec::new(),
        }
    }
}

/// The judgement.
#[derive(Debug, Clone, PartialEq)]
pub struct Assessment {
    /// Stage.
    pub stage: Stage,
    /// Flags, in order.
    pub flags: Vec<Flag>,
    /// Every gate.
    pub gates: Vec<Gate>,
    /// Findings of the facts and of the shut gates that name a fact.
    pub findings: Vec<Finding>,
    /// What to do next.
    pub next_steps: Vec<NextStep>,
    /// Voltage that a holiday test needs now, kV.
    pub required_voltage_kv: Option<f64>,
}

impl Assessment {
    /// The gate of that kind.
    pub fn gate(&self, kind: GateKind) -> Option<&Gate> {
        self.gates.iter().find(|gate| gate.gate == kind)
    }

    /// Every shut gate.
    pub fn shut(&self) -> impl Iterator<Item = &Gate> {
        self.gates.iter().filter(|gate| !gate.open)
    }
}

/// Judges a joint at `now`.
pub fn assess(
    state: &JointState,
    entry: &RegisterEntry,
    setup: &ProjectSetup,
    outside: &Outside,
    now: DateTime<Utc>,
) -> Assessment {
    let assigned = setup.assignment(entry);
    let gates = gates::all(state, entry, setup, outside, now);
    let open = |kind| gates.iter().any(|gate| gate.gate == kind && gate.open);
    let tested = open(GateKind::HolidayTest) && open(GateKind::Damage);
    let released = outside.release.is_some();
    let buried_unreleased = state.buried().is_some() && !released;
    let reached = stage::stage(state, entry.kind, assigned.map(|it| it.system), tested, released);
    let flags = flags(state, outside, &gates, buried_unreleased);
    let plan = assigned.map(|assigned| assigned.plan);
    let mut found = findings::of_facts(state, assigned, buried_unreleased);
    found.extend(recall::recalled(state, setup, plan));
    found.extend(findings_of_gates(&gates, plan));
    let required = assigned.and_then(|assigned| gates::required_voltage(state, assigned));
    let required_voltage_kv = required.and_then(Result::ok).map(|it| it.voltage.as_kilovolts());
    let next_steps = next_steps::next_steps(
        state,
        entry,
        setup,
        reached,
        required_voltage_kv,
        &gates,
        buried_unreleased,
    );
    Assessment { stage: reached, flags, gates, findings: found, next_steps, required_voltage_kv }
}

fn flags(
    state: &JointState,
    outside: &Outside,
    gates: &[Gate],
    buried_unreleased: bool,
) -> Vec<Flag> {
    let shut = |kind| gates.iter().any(|gate| gate.gate == kind && !gate.open);
    let waits_for_test = !state.coat.repairs.is_empty() && shut(GateKind::HolidayTest);
    let mut flags = Vec::new();
    if !state.damages.is_empty() || waits_for_test {
        flags.push(Flag::InRepair);
    }
    if outside.contradicted || shut(GateKind::Nonconformances) {
        flags.push(Flag::Blocked);
    }
    if outside.contradicted {
        flags.push(Flag::Contradicted);
    }
    if buried_unreleased {
        flags.push(Flag::BuriedUnreleased);
    }
    if matches!(state.weld, Weld::CutOut(_)) {
        flags.push(Flag::CutOut);
    }
    flags
}

/// A shut gate that names a fact is a finding on that fact; a reason that is waived stays one.
fn findings_of_gates(gates: &[Gate], plan: Option<&crate::setup::InspectionPlan>) -> Vec<Finding> {
    let about_facts = gates.iter().filter(|gate| {
        !matches!(gate.gate, GateKind::Nonconformances | GateKind::Freshness | GateKind::Damage)
    });
    let reasons = about_facts
        .flat_map(|gate| gate.reasons.iter().chain(gate.waived_by.iter().map(|it| &it.reason)));
    reasons
        .filter_map(|reason| {
            let event = *reason.evidence.last()?;
            Some(Finding {
                code: reason.code.clone(),
                severity: findings::severity_of(&reason.code, plan),
                detail: reason.detail.clone(),
                event,
            })
        })
        .collect()
}
