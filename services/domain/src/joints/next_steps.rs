//! What the crew does next, and until when.

use chrono::{DateTime, TimeDelta, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{
    Gate, GateKind, JointState, RegisterEntry, Stage, gates,
    release::gate_name,
    state::{Ground, LayerRole, Weld},
};
use crate::setup::{Assignment, Layer, ProjectSetup};

/// What to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Action {
    /// Have the weld examined and accepted.
    AcceptWeld,
    /// Repair the rejected weld, or cut it out.
    RepairWeld,
    /// Clean the steel.
    PrepareSurface,
    /// Put the next layer on.
    ApplyLayer,
    /// Repair the damage.
    RepairDamage,
    /// Spark-test the coating.
    HolidayTest,
    /// Ask for the backfill release.
    Release,
    /// Lower the pipe.
    Lower,
    /// Cover it.
    Backfill,
    /// Settle what stands against the release: papers, people, decisions.
    Settle,
    /// Dig it up: what lies there is not proven.
    Excavate,
}

/// One step.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct NextStep {
    /// What to do.
    pub action: Action,
    /// The layer, where one is to be put on.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub layer: Option<LayerRole>,
    /// Code of the material.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub material: Option<String>,
    /// Not before.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub not_before: Option<DateTime<Utc>>,
    /// At the latest.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub due_by: Option<DateTime<Utc>>,
    /// Least voltage of the test, kV.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub required_voltage_kv: Option<f64>,
    /// The step in words.
    pub text: String,
    /// What can hurt somebody; the site's procedure and local codes decide.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub cautions: Vec<String>,
}

impl NextStep {
    fn new(action: Action, text: impl Into<String>) -> Self {
        Self {
            action,
            layer: None,
            material: None,
            not_before: None,
            due_by: None,
            required_voltage_kv: None,
            text: text.into(),
            cautions: cautions(action),
        }
    }
}

fn cautions(action: Action) -> Vec<String> {
    let text: &[&str] = match action {
        Action::HolidayTest => &calc::CAUTIONS,
        Action::ApplyLayer | Action::PrepareSurface | Action::RepairDamage => &[
            "Primers and solvents burn and their vapour harms: ventilate, no flame or spark near. \
             The safety data sheet and the site's procedure decide.",
        ],
        Action::Lower | Action::Backfill | Action::Excavate => &[
            "Trenches collapse and suspended pipe kills: nobody in an unprotected trench or under \
             a load. Local codes and the competent person on site decide.",
        ],
        _ => &[],
    };
    text.iter().map(|it| (*it).to_owned()).collect()
}

/// The steps from where the joint stands, the first one first.
pub fn next_steps(
    state: &JointState,
    entry: &RegisterEntry,
    setup: &ProjectSetup,
    reached: Stage,
    required_voltage_kv: Option<f64>,
    gates: &[Gate],
    flagged_unreleased: bool,
) -> Vec<NextStep> {
    let open = |kind| gates.iter().any(|gate| gate.gate == kind && gate.open);
    match (state.weld, reached) {
        (Weld::CutOut(_), _) => return Vec::new(),
        (_, Stage::Backfilled) => return buried(gates, flagged_unreleased),
        (Weld::Rejected(_), _) => {
            return vec![NextStep::new(Action::RepairWeld, "repair the weld or cut it out")];
        }
        (Weld::AwaitsAcceptance, _) => {
            return vec![NextStep::new(Action::AcceptWeld, "have the weld examined and accepted")];
        }
        (Weld::Accepted(_), _) => {}
    }
    if !state.damages.is_empty() {
        let text =
            format!("repair {} open damage(s) with a full wrap, then test", state.damages.len());
        return vec![NextStep::new(Action::RepairDamage, text)];
    }
    if reached == Stage::Released {
        return lowering(state);
    }
    let Some(assigned) = setup.assignment(entry) else { return Vec::new() };
    if cannot_be_completed(state, entry, assigned, gates) {
        let grade = &assigned.system.surface_grade;
        let text = format!(
            "the coating cannot be completed as it is: strip it and prepare the steel to {grade}"
        );
        return vec![NextStep::new(Action::PrepareSurface, text)];
    }
    let mut steps = coating(state, entry, setup, assigned);
    if steps.is_empty() && (!open(GateKind::HolidayTest) || !open(GateKind::Freshness)) {
        let mut step = NextStep::new(Action::HolidayTest, "holiday test over the whole surface");
        step.required_voltage_kv = required_voltage_kv;
        if let Some(kv) = required_voltage_kv {
            step.text = format!("holiday test; required test voltage {kv:.1} kV");
        }
        steps.push(step);
    } else if steps.is_empty() && gates.iter().any(|gate| !gate.open) {
        let shut = gates.iter().filter(|gate| !gate.open).map(|gate| gate_name(gate.gate));
        let text = format!("settle first: {}", shut.collect::<Vec<_>>().join(", "));
        steps.push(NextStep::new(Action::Settle, text));
    } else if steps.is_empty() {
        let mut step =
            NextStep::new(Action::Release, "ask the QA manager for the backfill release");
        let test = state.newest_test();
        step.due_by = test.map(|test| gates::fresh_until(test, assigned.plan.test_valid_h));
        steps.push(step);
    }
    steps
}

fn buried(gates: &[Gate], unreleased: bool) -> Vec<NextStep> {
    let sound = gates.iter().filter(|gate| gate.gate.is_about_the_joint()).all(|gate| gate.open);
    if !sound {
        let text = "excavate or have the QA manager decide: what lies there is not proven";
        return vec![NextStep::new(Action::Excavate, text)];
    }
    if unreleased {
        let text = "have the QA manager decide: it lies under the soil without a release";
        return vec![NextStep::new(Action::Settle, text)];
    }
    Vec::new()
}

/// A layer lies over one that is missing, layers are in the wrong order or of another system, or
/// the steel under them was not prepared as it should be: only bare steel helps.
fn cannot_be_completed(
    state: &JointState,
    entry: &RegisterEntry,
    assigned: Assignment<'_>,
    gates: &[Gate],
) -> bool {
    let wrong = ["LAYER_OUT_OF_ORDER", "LAYER_NOT_OF_SYSTEM", "SURFACE_GRADE_DIFFERS"];
    let layers = gates.iter().filter(|gate| gate.gate == GateKind::Layers);
    if layers.flat_map(|gate| &gate.reasons).any(|it| wrong.contains(&it.code.as_str())) {
        return true;
    }
    let on = |role| state.coat.layers.iter().any(|applied| applied.role == role);
    let needed: Vec<bool> = assigned.system.layers_on(entry.kind).map(|it| on(it.role)).collect();
    let first_missing = needed.iter().position(|on| !on).unwrap_or(needed.len());
    needed[first_missing..].iter().any(|on| *on)
}

fn lowering(state: &JointState) -> Vec<NextStep> {
    let mut steps = Vec::new();
    if !matches!(state.ground, Ground::Lowered(_) | Ground::Excavated(_)) {
        steps.push(NextStep::new(Action::Lower, "lower the pipe"));
    }
    steps.push(NextStep::new(Action::Backfill, "backfill"));
    steps
}

/// Preparation and the layers that are still missing, with the clock that runs for the first.
fn coating(
    state: &JointState,
    entry: &RegisterEntry,
    setup: &ProjectSetup,
    assigned: Assignment<'_>,
) -> Vec<NextStep> {
    let coat = &state.coat;
    let mut steps = Vec::new();
    if coat.prepared.is_none() {
        let text = format!("prepare the steel to {}", assigned.system.surface_grade);
        steps.push(NextStep::new(Action::PrepareSurface, text));
    }
    let on = |role| coat.layers.iter().any(|applied| applied.role == role);
    let missing = assigned.system.layers_on(entry.kind).filter(|layer| !on(layer.role));
    for layer in missing {
        let mut step = layer_step(layer);
        if steps.is_empty() {
            (step.not_before, step.due_by) = clock(state, setup, assigned);
        }
        steps.push(step);
    }
    steps
}

fn layer_step(layer: &Layer) -> NextStep {
    let text = format!("{} with {}", layer.role.words(), layer.material);
    let mut step = NextStep::new(Action::ApplyLayer, text);
    step.layer = Some(layer.role);
    step.material = Some(layer.material.clone());
    step
}

/// Flash-off and open time of the layer below, or the age of the preparation.
fn clock(
    state: &JointState,
    setup: &ProjectSetup,
    assigned: Assignment<'_>,
) -> (Option<DateTime<Utc>>, Option<DateTime<Utc>>) {
    let minutes = |from: DateTime<Utc>, count: i64| from + TimeDelta::minutes(count);
    if let Some(below) = state.coat.layers.last() {
        let (times, from) = (gates::times_of(setup, assigned, below), below.mark.at);
        return (
            times.flash_off.map(|(count, _)| minutes(from, count)),
            times.open_time.map(|(count, _)| minutes(from, count)),
        );
    }
    let prepared = state.coat.prepared.as_ref();
    (None, prepared.map(|(mark, _)| minutes(mark.at, assigned.plan.preparation_valid_min)))
}
