//! What is shown of a joint and of its facts.

use chrono::{DateTime, NaiveDate, Utc};
use domain::{
    ids::{EventId, JointId, ReleaseId, UserId},
    joints::{
        Finding, Flag, Gate, JointKind, Stage, chain::Record, event::Event, next_steps::NextStep,
    },
};
use serde::Serialize;
use store::PgConnection;
use units::Kp;

use super::{Judged, judge};
use crate::{App, AppError, projects::ProjectEntry, setup};

/// A joint as it is shown.
#[derive(Debug, Clone, Serialize, utoipa::ToSchema)]
pub struct JointView {
    /// Id.
    pub id: JointId,
    /// Number, unique in the project.
    pub joint_number: String,
    /// Kilometre point, km.
    pub kp_km: f64,
    /// Kilometre point as people write it, such as `12+345.6`.
    pub kp: String,
    /// Section.
    pub section: String,
    /// Kind.
    pub kind: JointKind,
    /// Assigned coating system.
    pub coating_system: Option<String>,
    /// Pipe before it.
    pub pipe_before: Option<String>,
    /// Pipe after it.
    pub pipe_after: Option<String>,
    /// Heat of the pipe before it.
    pub heat_before: Option<String>,
    /// Heat of the pipe after it.
    pub heat_after: Option<String>,
    /// Welder.
    pub welder: Option<String>,
    /// Day of the weld.
    pub welded_on: Option<NaiveDate>,
    /// Stage.
    pub stage: Stage,
    /// Flags beside the stage.
    pub flags: Vec<Flag>,
    /// Every gate of the backfill release.
    pub gates: Vec<Gate>,
    /// What to do next.
    pub next_steps: Vec<NextStep>,
    /// Voltage that a holiday test needs now, kV; none before the first tape.
    pub required_voltage_kv: Option<f64>,
    /// What is wrong with its facts.
    pub findings: Vec<Finding>,
    /// The release in force.
    pub release: Option<ReleaseId>,
    /// Number of facts: changes with every fact.
    pub version: i64,
    /// Hash of the newest record, hexadecimal.
    pub chain_head: String,
}

/// The view of a judged joint.
pub(crate) fn view(judged: &Judged) -> JointView {
    let (joint, assessment) = (&judged.joint, &judged.assessment);
    let entry = &joint.entry;
    let assigned = judged.setup.assignment(entry);
    let kp = Kp::from_metres(entry.kp_m).ok();
    JointView {
        id: joint.id,
        joint_number: entry.joint_number.clone(),
        kp_km: kp.map_or(0.0, Kp::as_kilometres),
        kp: kp.map(|it| it.to_string()).unwrap_or_default(),
        section: entry.section.clone(),
        kind: entry.kind,
        coating_system: assigned.map(|it| it.system.code.clone()),
        pipe_before: entry.pipe_before.clone(),
        pipe_after: entry.pipe_after.clone(),
        heat_before: entry.heat_before.clone(),
        heat_after: entry.heat_after.clone(),
        welder: entry.welder.clone(),
        welded_on: entry.welded_on,
        stage: assessment.stage,
        flags: assessment.flags.clone(),
        gates: assessment.gates.clone(),
        next_steps: assessment.next_steps.clone(),
        required_voltage_kv: assessment.required_voltage_kv,
        findings: assessment.findings.clone(),
        release: judged.release.as_ref().map(|it| it.id),
        version: joint.chain_seq,
        chain_head: hex::encode(joint.chain_head),
    }
}

impl From<&Judged> for JointView {
    fn from(judged: &Judged) -> Self {
        view(judged)
    }
}

/// Shows the joint named `joint`, by number or id.
pub async fn show(app: &App, project: &ProjectEntry, joint: &str) -> Result<JointView, AppError> {
    let mut conn = app.begin_by_key(project.id).await?;
    let found = find(&mut conn, project, joint).await?;
    let setup = setup::snapshot_at(app, &mut conn, project.id, project.setup_version).await?;
    let judged = judge(&mut conn, project.id, found, &setup, app.clock.now()).await?;
    Ok(view(&judged))
}

async fn find(
    conn: &mut PgConnection,
    project: &ProjectEntry,
    joint: &str,
) -> Result<store::joints::StoredJoint, AppError> {
    let found = store::joints::find(conn, project.id, joint).await?;
    found.ok_or_else(|| AppError::not_found(format!("joint {joint}")))
}

/// A fact as it is shown.
#[derive(Debug, Clone, Serialize, utoipa::ToSchema)]
pub struct FactView {
    /// Client-made id.
    pub id: EventId,
    /// Place in the chain of the joint.
    pub seq: i64,
    /// When it happened in the field.
    pub occurred_at: DateTime<Utc>,
    /// When the server stored it.
    pub recorded_at: DateTime<Utc>,
    /// Who was signed in.
    pub recorded_by: UserId,
    /// It happened before another fact that had already arrived.
    pub late: bool,
    /// The entry it takes the place of.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub supersedes: Option<EventId>,
    /// Why.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
    /// The entry that took its place: this one no longer counts.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub superseded_by: Option<EventId>,
    /// What happened.
    #[serde(flatten)]
    pub event: Event,
    /// SHA-256 of its record, hexadecimal.
    pub hash: String,
}

impl FactView {
    /// The view of a record.
    pub fn new(record: &Record, late: bool, superseded_by: Option<EventId>) -> Self {
        Self {
            id: record.id,
            seq: record.seq,
            occurred_at: record.occurred_at,
            recorded_at: record.recorded_at,
            recorded_by: record.recorded_by,
            late,
            supersedes: record.supersedes,
            reason: record.reason.clone(),
            superseded_by,
            event: record.event.clone(),
            hash: hex::encode(domain::joints::chain::hash(&record.to_bytes())),
        }
    }
}

/// The facts of a joint in the order of its chain.
pub async fn facts(
    app: &App,
    project: &ProjectEntry,
    joint: &str,
) -> Result<Vec<FactView>, AppError> {
    let mut conn = app.begin_in(project.id).await?;
    let found = find(&mut conn, project, joint).await?;
    let stored = store::facts::of_joint(&mut conn, project.id, found.id).await?;
    let mut records = Vec::with_capacity(stored.len());
    for fact in &stored {
        records.push((fact.record()?, fact.late));
    }
    let by = |id| records.iter().find(|(it, _)| it.supersedes == Some(id)).map(|(it, _)| it.id);
    Ok(records.iter().map(|(it, late)| FactView::new(it, *late, by(it.id))).collect())
}
