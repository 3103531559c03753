//! Judges joints again after readings have arrived or were superseded.

use chrono::{DateTime, TimeDelta, Utc};
use domain::{
    ids::{EventId, JointId, ProjectId},
    joints::{Assessment, GateKind, Outside, assess, release::contradictions},
    setup::ProjectSetup,
};
use store::{PgConnection, ambient::judged, joints::StoredJoint};

use crate::{
    App, AppError,
    jobs::{FollowReadings, not_enqueued},
    joints::{Blamed, contradict, follow_findings, judge, moments, outside},
    retry::Attempts,
    setup::snapshot,
};

/// Joints locked at a time: those who record on them wait so long.
const PAGE: i64 = 25;

/// What was done.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Followed {
    /// Joints judged again.
    pub judged: i64,
    /// Releases that were contradicted.
    pub contradicted: i64,
}

/// So much later than its readings the job runs: a fact that was judged without them is committed
/// by then, and found. Longer than any statement may take.
const GRACE: TimeDelta = TimeDelta::seconds(15);

/// Asks for the joints of `spread` to be judged again for readings between two moments, in the
/// transaction that records them.
pub(crate) async fn follow_later(
    conn: &mut PgConnection,
    project: ProjectId,
    spread: &str,
    (from, to): (DateTime<Utc>, DateTime<Utc>),
    now: DateTime<Utc>,
) -> Result<(), AppError> {
    let job = FollowReadings { project, spread: spread.to_owned(), from, to };
    ::jobs::enqueue_at(conn, now + GRACE, &job).await.map_err(not_enqueued)?;
    Ok(())
}

/// Judges every joint that the readings of a spread between two moments can speak for. A release
/// that would not have been given with them is contradicted. Done twice, it says the same.
pub async fn follow_readings(app: &App, job: &FollowReadings) -> Result<Followed, AppError> {
    let mut done = Followed::default();
    let (mut after, mut attempts) = (None, Attempts::default());
    loop {
        match part(app, job, after).await {
            Err(AppError::Contended) if attempts.again().await => {}
            Err(error) => return Err(error),
            Ok((part, next)) => {
                done.judged += part.judged;
                done.contradicted += part.contradicted;
                if next.is_none() {
                    return Ok(done);
                }
                (after, attempts) = (next, Attempts::default());
            }
        }
    }
}

async fn part(
    app: &App,
    job: &FollowReadings,
    after: Option<JointId>,
) -> Result<(Followed, Option<JointId>), AppError> {
    let (now, project) = (app.clock.now(), job.project);
    let mut tx = app.begin_in(project).await?;
    let setup = snapshot(app, &mut tx, project).await?;
    let (sections, age) = sections(&setup, &job.spread);
    let (from, to) = (job.from - age, job.to + age);
    let around = judged::Around { sections: &sections, from, to, after, limit: PAGE };
    let ids = judged::joints(&mut tx, project, &around).await?;
    let named: Vec<String> = ids.iter().map(ToString::to_string).collect();
    let mut done = Followed::default();
    for joint in store::joints::lock(&mut tx, project, &named).await? {
        done.judged += 1;
        done.contradicted += i64::from(hold_release(&mut tx, project, &joint, &setup, now).await?);
        let before = judge(&mut tx, project, joint, &setup, now).await?;
        let found = &before.assessment.findings;
        follow_findings(&mut tx, (project, now), &before.joint, found, &setup).await?;
        let after = judge(&mut tx, project, before.joint, &setup, now).await?;
        store::joints::set_flags(&mut tx, project, after.joint.id, &after.assessment, now).await?;
    }
    app.commit(tx).await?;
    Ok((done, ids.last().copied()))
}

/// The sections of a spread, and the greatest age of a reading that their plans allow.
fn sections(setup: &ProjectSetup, spread: &str) -> (Vec<String>, TimeDelta) {
    let of_spread = setup.sections.values().filter(|it| it.spread.as_deref() == Some(spread));
    let plans = of_spread.clone().filter_map(|it| setup.plans.get(&it.inspection_plan));
    let age = plans.map(|plan| plan.ambient_valid_min).max().unwrap_or(0);
    (of_spread.map(|it| it.code.clone()).collect(), TimeDelta::minutes(age))
}

/// Contradicts the release in force where the readings shut a gate now that those did not shut which
/// spoke for it when it was given. It keeps them, so no clock has to tell which it had seen.
async fn hold_release(
    conn: &mut PgConnection,
    project: ProjectId,
    joint: &StoredJoint,
    setup: &ProjectSetup,
    now: DateTime<Utc>,
) -> Result<bool, AppError> {
    let mut outside = outside(conn, project, joint, setup, &moments(joint, setup)).await?;
    let Some(release) = &outside.release else { return Ok(false) };
    let judge = |outside: &Outside| assess(&joint.state, &joint.entry, setup, outside, now);
    let seen = store::releases::seen_readings(conn, project, release.id).await?;
    let known = Outside { readings: seen, ..outside.clone() };
    let (before, after) = (judge(&known), judge(&outside));
    let why = contradictions(&before, &after);
    let Some(by) = blamed(&after).filter(|_| !why.is_empty()) else { return Ok(false) };
    contradict(conn, (project, now), joint, &mut outside, Blamed { by, why }).await?;
    Ok(true)
}

/// The work that was done in such conditions.
fn blamed(after: &Assessment) -> Option<EventId> {
    let gate = after.gate(GateKind::Conditions)?;
    gate.reasons.iter().find_map(|reason| reason.evidence.last().copied())
}
