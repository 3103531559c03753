//! Judges a stored joint by what is known of it outside its facts.

use std::sync::Arc;

use chrono::{DateTime, TimeDelta, Utc};
use domain::{
    ambient::StationReading,
    ids::{JointId, ProjectId},
    joints::{Assessment, Fact, JointState, Outside, ReleaseInForce, Severity, assess, gates},
    setup::ProjectSetup,
};
use store::{PgConnection, StoreError, joints::StoredJoint, outside::OutsideFacts};

use crate::AppError;

/// A joint with its judgement.
#[derive(Debug, Clone)]
pub struct Judged {
    /// As stored.
    pub joint: StoredJoint,
    /// Its judgement.
    pub assessment: Assessment,
    /// The release in force.
    pub release: Option<ReleaseInForce>,
    /// The readings of the spread that could speak for it.
    pub readings: Vec<StationReading>,
    /// The set-up it was judged by.
    pub setup: Arc<ProjectSetup>,
}

/// What the facts of a joint do not say; the readings are those for `moments`.
pub(crate) async fn outside(
    conn: &mut PgConnection,
    project: ProjectId,
    joint: &StoredJoint,
    setup: &ProjectSetup,
    moments: &[DateTime<Utc>],
) -> Result<Outside, AppError> {
    let OutsideFacts { newest, nonconformances, waivers } =
        store::outside::of_joint(conn, project, joint.id).await?;
    let plan = setup.assignment(&joint.entry).map(|assigned| assigned.plan);
    let readings = readings(conn, project, joint, setup, moments).await?;
    let contradicted = matches!(newest, Some((_, true)));
    Ok(Outside {
        release: newest.filter(|(_, contradicted)| !contradicted).map(|(release, _)| release),
        contradicted,
        nonconformances,
        waivers,
        blocking_from: plan.map_or(Severity::Major, |plan| plan.blocking_from),
        readings,
    })
}

/// The readings of the joint's spread that can speak for `moments`.
async fn readings(
    conn: &mut PgConnection,
    project: ProjectId,
    joint: &StoredJoint,
    setup: &ProjectSetup,
    moments: &[DateTime<Utc>],
) -> Result<Vec<StationReading>, AppError> {
    let Some(assigned) = setup.assignment(&joint.entry) else { return Ok(Vec::new()) };
    let Some(spread) = &assigned.section.spread else { return Ok(Vec::new()) };
    let age = TimeDelta::minutes(assigned.plan.ambient_valid_min);
    Ok(store::ambient::around::around(conn, project, spread, moments, age).await?)
}

/// The moments of the joint's work for which its spread's readings are asked.
pub(crate) fn moments(joint: &StoredJoint, setup: &ProjectSetup) -> Vec<DateTime<Utc>> {
    let assigned = setup.assignment(&joint.entry);
    assigned.map_or_else(Vec::new, |assigned| gates::moments(&joint.state, assigned.plan))
}

/// The state of a joint from its facts.
pub(crate) async fn folded(
    conn: &mut PgConnection,
    project: ProjectId,
    joint: JointId,
) -> Result<JointState, AppError> {
    let stored = store::facts::of_joint(conn, project, joint).await?;
    let facts = stored.iter().map(|it| Ok(it.record()?.to_fact()));
    let facts: Vec<Fact> = facts.collect::<Result<_, StoreError>>()?;
    Ok(JointState::fold(&facts))
}

/// Judges a joint as it stands.
pub(crate) async fn judge(
    conn: &mut PgConnection,
    project: ProjectId,
    joint: StoredJoint,
    setup: &Arc<ProjectSetup>,
    now: DateTime<Utc>,
) -> Result<Judged, AppError> {
    let moments = moments(&joint, setup);
    let outside = outside(conn, project, &joint, setup, &moments).await?;
    let state: &JointState = &joint.state;
    let assessment = assess(state, &joint.entry, setup, &outside, now);
    let Outside { release, readings, .. } = outside;
    Ok(Judged { joint, assessment, release, readings, setup: Arc::clone(setup) })
}
