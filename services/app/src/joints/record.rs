//! Records one fact on one joint.

use domain::{
    access::Permission,
    joints::{Finding, chain::Record, fact::NewFact},
};

use super::{Judged, Outcome, write, write::Stamp};
use crate::{
    Actor, App, AppError, jobs::post_consumption_soon, projects::ProjectEntry, retry::Attempts,
    setup,
};

/// A recorded fact, the joint after it and what is wrong with the fact.
#[derive(Debug, Clone)]
pub struct Recorded {
    /// The fact as it is stored.
    pub record: Record,
    /// It was stored already.
    pub repeated: bool,
    /// It happened before another fact that had already arrived.
    pub late: bool,
    /// The joint after it.
    pub judged: Judged,
    /// The findings on this very fact.
    pub findings: Vec<Finding>,
}

/// Records `fact` on the joint named `joint`, by number or id.
pub async fn record(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    joint: &str,
    fact: NewFact,
) -> Result<Recorded, AppError> {
    may_supersede(project, &fact)?;
    let mut attempts = Attempts::default();
    loop {
        match attempt(app, actor, project, joint, fact.clone()).await {
            Err(AppError::Contended) if attempts.again().await => {}
            done => return done,
        }
    }
}

async fn attempt(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    joint: &str,
    fact: NewFact,
) -> Result<Recorded, AppError> {
    let now = app.clock.now();
    let mut tx = app.begin_by_key(project.id).await?;
    let locked = store::joints::lock_one(&mut tx, project.id, joint).await?;
    let (found, setup_version) =
        locked.ok_or_else(|| AppError::not_found(format!("joint {joint}")))?;
    let setup = setup::snapshot_at(app, &mut tx, project.id, setup_version).await?;
    let newest = found.newest_at;
    let stamp = Stamp { project: project.id, by: actor.user, now };
    let (judged, outcomes) = write(&mut tx, stamp, found, &[fact], &setup).await?;
    if outcomes.iter().any(Outcome::moves_stock) {
        post_consumption_soon(&mut tx, project.id, app.clock.now()).await?;
    }
    app.commit(tx).await?;
    let (record, repeated) = match outcomes.into_iter().next() {
        Some(Outcome::New(record)) => (*record, false),
        Some(Outcome::AlreadySo(record)) => (*record, true),
        Some(Outcome::IdReused) => return Err(id_reused()),
        None => return Err(AppError::Internal("a fact without an outcome".into())),
    };
    let findings = findings_on(&judged, &record);
    let late = !repeated && newest.is_some_and(|newest| record.occurred_at < newest);
    Ok(Recorded { record, repeated, late, judged, findings })
}

pub(super) fn findings_on(judged: &Judged, record: &Record) -> Vec<Finding> {
    judged.assessment.findings.iter().filter(|it| it.event == record.id).cloned().collect()
}

pub(super) fn id_reused() -> AppError {
    AppError::Conflict {
        code: "ID_REUSED",
        detail: "another fact has this id: make a new one for new content".to_owned(),
    }
}

/// A correction can undo a failed test, so it takes more than recording.
pub(super) fn may_supersede(project: &ProjectEntry, fact: &NewFact) -> Result<(), AppError> {
    match fact.supersedes {
        Some(_) => project.require(Permission::SupersedeFacts),
        None => Ok(()),
    }
}
