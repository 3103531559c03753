//! Holds every joint against its chain of records: whether anything was changed behind the back
//! of the server.

mod joint;
mod report;

use domain::ids::{JointId, ProjectId};
use store::{PgConnection, StoreError, Tx, error::database, projects::ProjectRef};

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
    let projects = match project {
        Some(project) => vec![project],
        None => store::projects::list_ids(&mut conn).await?,
    };
    let mut progress = Progress { joints: 0, joints_total: 0 };
    let mut named = Vec::with_capacity(projects.len());
    for project in projects {
        let code = code_of(&mut conn, project).await?.unwrap_or_else(|| project.to_string());
        let stages = store::joints::count_by_stage(&mut conn, project).await?;
        let joints: i64 = stages.iter().map(|(_, count)| count).sum();
        progress.joints_total += joints.unsigned_abs();
        named.push((project, code));
    }
    drop(conn);
    let mut report = Report::default();
    for (project, code) in &named {
        let mut after = None;
        loop {
            let mut tx = snapshot(app).await?;
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
    for project in store::projects::list_ids(&mut conn).await? {
        if project.to_string() == named
            || code_of(&mut conn, project).await?.as_deref() == Some(named)
        {
            return Ok(Some(project));
        }
    }
    Ok(None)
}

/// The code of a project, as one of its members sees it: a project is never without one.
async fn code_of(
    conn: &mut PgConnection,
    project: ProjectId,
) -> Result<Option<String>, StoreError> {
    let members = store::members::list(conn, project).await?;
    let Some(member) = members.first() else { return Ok(None) };
    let reference = ProjectRef::Id(project);
    let membership = store::projects::find_membership(conn, member.user, reference).await?;
    Ok(membership.map(|it| it.project.code))
}

/// A transaction that sees one moment: a joint and its facts, though others are recording.
async fn snapshot(app: &App) -> Result<Tx, AppError> {
    let begin = "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY";
    Ok(app.pool.begin_with(begin).await.map_err(database("begin a verification step"))?)
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
