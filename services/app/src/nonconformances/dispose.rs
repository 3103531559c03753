//! Closes a nonconformance on a fact that proves that it is settled.

use domain::{
    ids::{EventId, NonconformanceId},
    joints::{GateKind, chain::Record},
    schema::FieldError,
};
use store::{PgConnection, nonconformances::Closing};

use super::{EntryKind, NonconformanceView, follow::follow_later};
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
    /// The fact that proves it: recorded on the joint after the nonconformance was opened. None
    /// where it is of a lot, a crew or a stretch: an entry of verification proves that.
    pub closing_event: Option<EventId>,
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
    let judged = match &found.joint_number {
        Some(named) => {
            let named = std::slice::from_ref(named);
            let joint = store::joints::lock(&mut tx, project.id, named).await?.into_iter().next();
            Some(judge(&mut tx, project.id, joint.ok_or_else(not_found)?, &setup, now).await?)
        }
        None => None,
    };
    match (&judged, decision.closing_event) {
        (Some(judged), Some(event)) => {
            let proof = proof(&mut tx, project, judged, event).await?;
            let proof = proof.filter(|it| it.recorded_at > found.opened_at);
            settles(&found.code, proof.as_ref(), judged)?;
        }
        (Some(_), None) => return Err(event_fault("REQUIRED", "name the fact that proves it")),
        (None, Some(_)) => {
            let detail = "a lot, a crew or a stretch has no facts: leave it out, and write an entry \
                          of verification";
            return Err(event_fault("ONE_OF", detail));
        }
        (None, None) => verified(&mut tx, project, id).await?,
    }
    let note = format!("{}: {}", decision.disposition.words(), decision.note);
    let closing = Closing {
        by: actor.user,
        at: now,
        note: &note,
        disposition: decision.disposition.words(),
        event: decision.closing_event,
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
    match judged {
        Some(judged) => {
            let after = judge(&mut tx, project.id, judged.joint, &setup, now).await?;
            store::joints::update(&mut tx, project.id, &after.joint, &after.assessment, now)
                .await?;
        }
        None => follow_later(&mut tx, project.id, id).await?,
    }
    let closed = store::nonconformances::find(&mut tx, project.id, id).await?;
    app.commit(tx).await?;
    closed.map(NonconformanceView::from).ok_or_else(not_found)
}

fn event_fault(code: &str, detail: &str) -> AppError {
    AppError::Invalid(vec![FieldError::new("/closing_event", code, detail)])
}

/// The fact that is said to prove it, if it is one of the joint that counts.
async fn proof(
    conn: &mut PgConnection,
    project: &ProjectEntry,
    judged: &Judged,
    event: EventId,
) -> Result<Option<Record>, AppError> {
    let facts = store::facts::of_joint(conn, project.id, judged.joint.id).await?;
    let superseded = facts.iter().any(|it| it.columns.supersedes == Some(event));
    let proof = facts.iter().find(|it| it.columns.id == event && !superseded);
    Ok(proof.map(store::facts::StoredFact::record).transpose()?)
}

/// Somebody has written how it was seen that what was done has worked.
async fn verified(
    conn: &mut PgConnection,
    project: &ProjectEntry,
    id: NonconformanceId,
) -> Result<(), AppError> {
    let entries = store::nonconformances::entries(conn, project.id, id).await?;
    if entries.iter().any(|it| it.kind == EntryKind::Verification.name()) {
        return Ok(());
    }
    let detail = "nobody has verified it: write an entry of verification first";
    Err(AppError::Conflict { code: "NOT_PROVEN", detail: detail.to_owned() })
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
