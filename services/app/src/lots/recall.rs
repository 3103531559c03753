//! Brings the nonconformances of the joints of a lot in line with its quarantines.

use domain::ids::{JointId, ProjectId};
use store::lot_uses::UsedOn;

use crate::{
    App, AppError,
    joints::{follow_findings, judge},
    retry::Attempts,
    setup::snapshot,
};

/// Joints locked at a time: those who record on them wait so long.
const PAGE: i64 = 25;

/// What was done.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Recalled {
    /// Joints looked at.
    pub looked_at: i64,
}

/// Judges every joint of the lot again: opens what its quarantine asks for, and lets lapse what
/// nobody decided and its lift takes away. Done twice, it says the same.
pub async fn follow_recall(app: &App, project: ProjectId, lot: &str) -> Result<Recalled, AppError> {
    let mut done = Recalled::default();
    let (mut after, mut attempts) = (None, Attempts::default());
    loop {
        match part(app, project, lot, after).await {
            Err(AppError::Contended) if attempts.again().await => {}
            Err(error) => return Err(error),
            Ok((looked_at, next)) => {
                done.looked_at += looked_at;
                if next.is_none() {
                    return Ok(done);
                }
                (after, attempts) = (next, Attempts::default());
            }
        }
    }
}

type Place = (i64, JointId);

async fn part(
    app: &App,
    project: ProjectId,
    lot: &str,
    after: Option<Place>,
) -> Result<(i64, Option<Place>), AppError> {
    let now = app.clock.now();
    let mut tx = app.begin_in(project).await?;
    let setup = snapshot(app, &mut tx, project).await?;
    let page = UsedOn { stage: None, after, limit: PAGE };
    let lines = store::lot_uses::joints(&mut tx, project, lot, &page).await?;
    let named: Vec<String> = lines.iter().map(|line| line.id.to_string()).collect();
    for joint in store::joints::lock(&mut tx, project, &named).await? {
        let before = judge(&mut tx, project, joint, &setup, now).await?;
        let found = &before.assessment.findings;
        follow_findings(&mut tx, (project, now), &before.joint, found, &setup).await?;
        let after = judge(&mut tx, project, before.joint, &setup, now).await?;
        store::joints::set_flags(&mut tx, project, after.joint.id, &after.assessment, now).await?;
    }
    app.commit(tx).await?;
    let looked_at = i64::try_from(lines.len()).unwrap_or(i64::MAX);
    Ok((looked_at, lines.last().map(|last| (last.kp_mm, last.id))))
}
