//! Closes a nonconformance on a fact that proves that it is settled.

use domain::{
    ids::{EventId, NonconformanceId},
    joints::{GateKind, chain::Record},
};
use store::nonconformances::Closing;

use super::NonconformanceView;
use crate::{
    Actor, App, AppError,
    joints::{Judged, judge},
    projects::ProjectEntry,
    setup,
};

/// What is done with what does not conform (ISO 9001, 8.7: the words are from memory). Use as is
/// under concession takes two people and their signatures: [`super::propose`], [`super::approve`].
#[derive(Debug, Clone, Copy)]
pub enum Disposition {
    /// Made fit for use.
    Repair,
    /// Made as it should have been.
    Rework,
    /// Taken out.
    Reject,
}

impl Disposition {
    const fn words(self) -> &'static str {
        match self {
            Self::Repair => "repair",
            Self::Rework => "rework",
            Self::Reject => "reject",
        }
    }
}

/// A decision.
#[derive(Debug, Clone)]
pub struct Decision {
    /// What was done.
    pub disposition: Disposition,
    /// The fact that proves it: recorded on the joint after the nonconformance was opened.
    pub closing_event: EventId,
    /// Why that settles it.
    pub note: String,
}

/// Closes the nonconformance `id`, seen at `version`.
pub async fn dispose(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    (id, version): (NonconformanceId, i64),
    decision: &Decision,
) -> Result<NonconformanceView, AppError> {
    let now = app.clock.now();
    let mut tx = app.begin_in(project.id).await?;
    let not_found = || AppError::not_found(format!("nonconformance {id}"));
    let found = store::nonconformances::find(&mut tx, project.id, id).await?;
    let found = found.ok_or_else(not_found)?;
    let setup = setup::snapshot(app, &mut tx, project.id).await?;
    let named = [found.joint_number.clone()];
    let joint = store::joints::lock(&mut tx, project.id, &named).await?.into_iter().next();
    let judged = judge(&mut tx, project.id, joint.ok_or_else(not_found)?, &setup, now).await?;

    let facts = store::facts::of_joint(&mut tx, project.id, judged.joint.id).await?;
    let proof = facts.iter().find(|it| it.columns.id == decision.closing_event);
    let proof = proof.map(store::facts::StoredFact::record).transpose()?;
    let superseded = facts.iter().any(|it| it.columns.supersedes == Some(decision.closing_event));
    let proof = proof.filter(|it| !superseded && it.recorded_at > found.opened_at);
    settles(&found.code, proof.as_ref(), &judged)?;

    let note = format!("{}: {}", decision.disposition.words(), decision.note);
    let closing = Closing {
        by: actor.user,
        at: now,
        note: &note,
        disposition: decision.disposition.words(),
        event: Some(decision.closing_event),
    };
    if !store::nonconformances::close(&mut tx, project.id, id, version, &closing).await? {
        let seen = store::nonconformances::find(&mut tx, project.id, id).await?;
        let seen = seen.ok_or_else(not_found)?;
        return Err(if seen.status == "open" {
            AppError::stale(version, seen.version)
        } else {
            let detail = format!("nonconformance {} is {} already", seen.number, seen.status);
            AppError::Conflict { code: "NONCONFORMANCE_NOT_OPEN", detail }
        });
    }
    // What the nonconformance held back may go on.
    let after = judge(&mut tx, project.id, judged.joint, &setup, now).await?;
    store::joints::update(&mut tx, project.id, &after.joint, &after.assessment, now).await?;
    let closed = store::nonconformances::find(&mut tx, project.id, id).await?;
    app.commit(tx).await?;
    closed.map(NonconformanceView::from).ok_or_else(not_found)
}

/// A contradicted release is settled only when the joint itself is sound again.
fn settles(code: &str, proof: Option<&Record>, judged: &Judged) -> Result<(), AppError> {
    if proof.is_none() {
        let detail = "`closing_event` must be a fact of this joint that counts and was recorded \
                      after the nonconformance was opened";
        return Err(AppError::Conflict { code: "NOT_PROVEN", detail: detail.to_owned() });
    }
    let open = |kind| judged.assessment.gate(kind).is_some_and(|gate| gate.open);
    if code == "RELEASE_CONTRADICTED" && !(open(GateKind::HolidayTest) && open(GateKind::Damage)) {
        let detail = "the joint has no valid holiday test since, or an open damage";
        return Err(AppError::Conflict { code: "NOT_PROVEN", detail: detail.to_owned() });
    }
    Ok(())
}
