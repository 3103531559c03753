//! Brings the flags of joints in line with a nonconformance of a lot, a crew or a stretch.

use domain::ids::{JointId, NonconformanceId, ProjectId};
use store::PgConnection;

use crate::{
    App, AppError,
    jobs::{FollowNonconformance, not_enqueued},
    joints::judge,
    retry::Attempts,
    setup::snapshot,
};

/// Joints locked at a time: those who record on them wait so long.
const PAGE: i64 = 25;

/// Asks for it in the transaction that raises or closes the nonconformance.
pub(super) async fn follow_later(
    conn: &mut PgConnection,
    project: ProjectId,
    nonconformance: NonconformanceId,
) -> Result<(), AppError> {
    let job = FollowNonconformance { project, nonconformance };
    ::jobs::enqueue(conn, &job).await.map_err(not_enqueued)?;
    Ok(())
}

/// Judges the joints of the nonconformance again; how many. Done twice, it says the same.
pub async fn follow(
    app: &App,
    project: ProjectId,
    nonconformance: NonconformanceId,
) -> Result<i64, AppError> {
    let mut looked_at = 0;
    let (mut after, mut attempts) = (None, Attempts::default());
    loop {
        match part(app, project, nonconformance, after).await {
            Err(AppError::Contended) if attempts.again().await => {}
            Err(error) => return Err(error),
            Ok((_, None)) => return Ok(looked_at),
            Ok((count, next)) => {
                looked_at += count;
                (after, attempts) = (next, Attempts::default());
            }
        }
    }
}

type Place = (i64, JointId);

async fn part(
    app: &App,
    project: ProjectId,
    nonconformance: NonconformanceId,
    after: Option<Place>,
) -> Result<(i64, Option<Place>), AppError> {
    let now = app.clock.now();
    let mut tx = app.begin_in(project).await?;
    let setup = snapshot(app, &mut tx, project).await?;
    let places =
        store::nonconformances::joints_under(&mut tx, project, nonconformance, after, PAGE).await?;
    let named: Vec<String> = places.iter().map(|(_, joint)| joint.to_string()).collect();
    for joint in store::joints::lock(&mut tx, project, &named).await? {
        let judged = judge(&mut tx, project, joint, &setup, now).await?;
        let (joint, assessment) = (judged.joint.id, &judged.assessment);
        store::joints::set_flags(&mut tx, project, joint, assessment, now).await?;
    }
    app.commit(tx).await?;
    Ok((i64::try_from(places.len()).unwrap_or(i64::MAX), places.last().copied()))
}
