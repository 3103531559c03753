//! Holds every joint against its chain of records, and the chains against the checkpoints: whether
//! anything was changed behind the back of the server.
//!
//! The chains alone show a record that was changed, taken out, put in, moved or copied from
//! elsewhere. They do not show the newest records of a joint taken away together with all traces,
//! nor a chain that was made anew from a change on: that takes a checkpoint, and if one who could
//! do so may also have replaced the checkpoints in the database, one that was kept elsewhere and a
//! public key that is known from elsewhere ([`Wanted::against`], [`Known`]).

mod joint;
mod report;
mod sealed;

use std::{collections::HashMap, path::PathBuf};

use domain::ids::{JointId, ProjectId};
use store::{StoreError, Tx, error::database, facts::StoredFact, joints::Readable};

use crate::{App, AppError, seal::Known};

pub use report::{Fault, Progress, Report};

/// Joints per transaction: long enough to be quick, short enough not to hold up the cleaning, and
/// what is held in memory at once.
const STEP: i64 = 200;

/// What to verify, and against what.
#[derive(Debug, Clone, Default)]
pub struct Wanted {
    /// Only this project.
    pub project: Option<ProjectId>,
    /// Only this joint of it, by number or id.
    pub joint: Option<String>,
    /// Checkpoints that were kept elsewhere.
    pub against: Vec<PathBuf>,
    /// What is known from elsewhere.
    pub known: Known,
}

/// Verifies the joints of `project`, or of all projects; tells `on_progress` now and then.
///
/// It goes on after a fault: the report names them all. Work may go on meanwhile.
pub async fn verify(
    app: &App,
    project: Option<ProjectId>,
    on_progress: impl FnMut(Progress),
) -> Result<Report, AppError> {
    verify_wanted(app, &Wanted { project, ..Wanted::default() }, on_progress).await
}

/// Verifies what is `wanted`, as [`verify`] does.
pub async fn verify_wanted(
    app: &App,
    wanted: &Wanted,
    mut on_progress: impl FnMut(Progress),
) -> Result<Report, AppError> {
    let mut conn = app.connection().await?;
    let directory = store::projects::directory(&mut conn).await?;
    drop(conn);
    let mut report = Report::default();
    let mut named = directory.clone();
    named.retain(|(id, _)| wanted.project.is_none_or(|wanted| wanted == *id));
    let mut progress = Progress { joints: 0, joints_total: 0 };
    for (project, _) in &named {
        let mut tx = app.begin_in(*project).await?;
        let joints = store::joints::count(&mut tx, *project).await?;
        progress.joints_total += joints.unsigned_abs();
    }
    for (project, code) in &named {
        let of = Of { project: *project, code };
        let only = only(app, of, wanted).await?;
        if let Some((joint, number)) = &only {
            let mut tx = app.snapshot_of(*project).await?;
            let rows = store::joints::rows_after(&mut tx, *project, before(*joint), 1).await?;
            if rows.is_empty() {
                return Err(AppError::not_found(format!("joint {number}")));
            }
            step(&mut tx, of, &rows, &mut report).await?;
        } else {
            walk(app, of, &mut report, &mut progress, &mut on_progress).await?;
            around(app, of, &mut report).await?;
        }
        let joint = only.map(|it| it.0);
        sealed::in_database(app, of, joint, wanted.known, &mut report).await?;
        sealed::in_files(app, of, joint, wanted, &mut report).await?;
    }
    sealed::of_no_project(wanted, &directory, &mut report)?;
    Ok(report)
}

/// The project of the id or code `named`, whoever its members are.
pub async fn project_named(app: &App, named: &str) -> Result<Option<ProjectId>, AppError> {
    let mut conn = app.connection().await?;
    let directory = store::projects::directory(&mut conn).await?;
    let found = directory.into_iter().find(|(id, code)| code == named || id.to_string() == named);
    Ok(found.map(|(id, _)| id))
}

/// Whose records they are.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Of<'a> {
    pub project: ProjectId,
    pub code: &'a str,
}

impl Of<'_> {
    fn fault(self, joint: impl Into<String>, seq: Option<i64>, what: String) -> Fault {
        Fault { project: self.code.to_owned(), joint: joint.into(), seq, what }
    }
}

/// The joint that alone is wanted.
async fn only(
    app: &App,
    of: Of<'_>,
    wanted: &Wanted,
) -> Result<Option<(JointId, String)>, AppError> {
    let Some(named) = &wanted.joint else { return Ok(None) };
    let mut tx = app.begin_in(of.project).await?;
    let id = store::joints::id_of(&mut tx, of.project, named).await?;
    let id = id.ok_or_else(|| AppError::not_found(format!("joint {named} in {}", of.code)))?;
    Ok(Some((id, named.clone())))
}

/// The id that comes before `joint`.
fn before(joint: JointId) -> Option<JointId> {
    joint.0.as_u128().checked_sub(1).map(|it| JointId(uuid::Uuid::from_u128(it)))
}

/// Every joint of a project.
async fn walk(
    app: &App,
    of: Of<'_>,
    report: &mut Report,
    progress: &mut Progress,
    on_progress: &mut impl FnMut(Progress),
) -> Result<(), AppError> {
    let mut after = None;
    loop {
        let mut tx = app.snapshot_of(of.project).await?;
        let rows = store::joints::rows_after(&mut tx, of.project, after, STEP).await?;
        let Some(last) = rows.last().map(|it| it.0) else { return Ok(()) };
        step(&mut tx, of, &rows, report).await?;
        tx.rollback().await.map_err(database("end a verification step"))?;
        progress.joints = report.joints;
        progress.joints_total = progress.joints_total.max(report.joints);
        on_progress(*progress);
        after = Some(last);
    }
}

async fn step(
    tx: &mut Tx,
    of: Of<'_>,
    rows: &[Readable],
    report: &mut Report,
) -> Result<(), AppError> {
    let ids: Vec<JointId> = rows.iter().map(|it| it.0).collect();
    let mut facts: HashMap<JointId, Vec<StoredFact>> = HashMap::with_capacity(ids.len());
    for fact in store::facts::of_joints(tx, of.project, &ids).await? {
        facts.entry(fact.joint).or_default().push(fact);
    }
    for (id, number, stored) in rows {
        let facts = facts.remove(id).unwrap_or_default();
        report.joints += 1;
        report.facts += facts.len() as u64;
        let found = match stored {
            Ok(stored) => joint::faults(of.project, stored, &facts),
            // What cannot even be read is the plainest of faults, and the next joint may be
            // readable.
            Err(error @ StoreError::Inconsistent { .. }) => vec![(None, error.to_string())],
            Err(error) => return Err(AppError::internal(error)),
        };
        report.faults.extend(found.into_iter().map(|(seq, what)| of.fault(number, seq, what)));
    }
    Ok(())
}

/// What belongs to no joint, or stands on a record that it should not.
async fn around(app: &App, of: Of<'_>, report: &mut Report) -> Result<(), AppError> {
    let mut tx = app.snapshot_of(of.project).await?;
    for (joint, seq) in store::facts::strays(&mut tx, of.project).await? {
        report.facts += 1;
        let what = "the record is on a joint that is not in the register".to_owned();
        report.faults.push(of.fault(joint.to_string(), Some(seq), what));
    }
    for (joint, seq, release) in store::releases::adrift(&mut tx, of.project).await? {
        let what = format!("the release {release} was signed for another record than this one");
        report.faults.push(of.fault(joint, Some(seq), what));
    }
    Ok(())
}
