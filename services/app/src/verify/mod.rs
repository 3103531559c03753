//! Holds every joint against its chain of records: whether anything was changed behind the back
//! of the server.

mod joint;
mod report;

use domain::ids::{JointId, ProjectId};
use store::{StoreError, Tx, error::database};

use crate::{App, AppError};

pub use report::{Fault, Progress, Report};

/// Joints per transaction: long enough to be quick, short enough not to hold up the cleaning.
const STEP: i64 = 200;

/// Verifies the joints of `project`, or of all projects; tells `on_progress` now and then.
///
/// It goes on after a fault: the report names them all. Work may go on meanwhile.
pub async fn verify(
    app: &App,
    project: Option<ProjectId>,
    mut on_progress: impl FnMut(Progress),
) -> Result<Report, AppError> {
    let mut conn = app.connection().await?;
    let mut named = store::projects::directory(&mut conn).await?;
    drop(conn);
    named.retain(|(id, _)| project.is_none_or(|wanted| wanted == *id));
    let mut progress = Progress { joints: 0, joints_total: 0 };
    for (project, _) in &named {
        let mut tx = app.begin_in(*project).await?;
        let stages = store::joints::count_by_stage(&mut tx, *project).await?;
        let joints: i64 = stages.iter().map(|(_, count)| count).sum();
        progress.joints_total += joints.unsigned_abs();
    }
    let mut report = Report::default();
    for (project, code) in &named {
        let mut after = None;
        loop {
            let mut tx = app.snapshot_of(*project).await?;
            let ids = store::joints::ids_after(&mut tx, *project, after, STEP).await?;
            for id in &ids {
                one(&mut tx, (*project, code), *id, &mut report).await?;
            }
            tx.rollback().await.map_err(database("end a verification step"))?;
            progress.joints = report.joints;
            progress.joints_total = progress.joints_total.max(report.joints);
            on_progress(progress);
            let Some(last) = ids.last() else { break };
            after = Some(*last);
        }
    }
    Ok(report)
}

/// The project of the id or code `named`, whoever its members are.
pub async fn project_named(app: &App, named: &str) -> Result<Option<ProjectId>, AppError> {
    let mut conn = app.connection().await?;
    let directory = store::projects::directory(&mut conn).await?;
    let found = directory.into_iter().find(|(id, code)| code == named || id.to_string() == named);
    Ok(found.map(|(id, _)| id))
}

async fn one(
    tx: &mut Tx,
    (project, code): (ProjectId, &str),
    id: JointId,
    report: &mut Report,
) -> Result<(), AppError> {
    report.joints += 1;
    let facts = store::facts::of_joint(tx, project, id).await?;
    report.facts += facts.len() as u64;
    let (number, found) = match store::joints::find(tx, project, &id.to_string()).await {
        Ok(Some(stored)) => {
            let number = stored.entry.joint_number.clone();
            (number, joint::faults(project, &stored, &facts))
        }
        Ok(None) => return Ok(()),
        // What cannot even be read is the plainest of faults, and the next joint may be readable.
        Err(error @ StoreError::Inconsistent { .. }) => {
            (id.to_string(), vec![(None, error.to_string())])
        }
        Err(error) => return Err(error.into()),
    };
    report.faults.extend(found.into_iter().map(|(seq, what)| Fault {
        project: code.to_owned(),
        joint: number.clone(),
        seq,
        what,
    }));
    Ok(())
}
