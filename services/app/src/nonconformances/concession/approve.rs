//! The second signature: the concession is in force, and the nonconformance is closed.

use domain::{
    access::Permission,
    ids::NonconformanceId,
    joints::concession::{Signer, against_approval},
};
use serde_json::{Value, json};
use store::nonconformances::Closing;

use super::{
    ConcessionView,
    propose::{refused, view, walled},
    subject::{look, named_gates},
};
use crate::{
    Actor, App, AppError,
    accounts::prove,
    joints::judge,
    projects::ProjectEntry,
    setup,
    signing::{self, Purpose, Signing},
};

/// Approves the proposed concession of the nonconformance `id`.
pub async fn approve(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    id: NonconformanceId,
    signing: Signing,
) -> Result<ConcessionView, AppError> {
    project.require(Permission::SignConcessions)?;
    let Signing { nonce, password, meaning, origin } = signing;
    prove(app, actor, password, &origin).await?;
    let now = app.clock.now();
    let mut tx = app.begin_in(project.id).await?;
    let by = (actor, project);
    let challenge = signing::answered(&mut tx, by, Purpose::Concession, &nonce, now).await?;
    let setup = setup::snapshot(app, &mut tx, project.id).await?;
    let looked = look(&mut tx, project, id, None, &setup, now).await?;
    let Some(proposal) = &looked.proposal else {
        let detail = "nobody has proposed a concession of it: propose one, and another approves it";
        return Err(AppError::Conflict {
            code: "CONCESSION_NOT_PROPOSED",
            detail: detail.to_owned(),
        });
    };
    let judged = (&looked.judged.joint.state, &looked.judged.assessment);
    let second = Signer { user: actor.user, role: Some(project.role) };
    let gates = named_gates(&proposal.gates);
    let people = (proposal.proposer(), second);
    refused(&against_approval(judged, &setup, looked.about(), &gates, people))?;
    let subject = looked.subject(project, Value::Null)?;
    // The reason is no part of what both sign, so it must have been shown with this very challenge.
    let seen = challenge.subject.pointer("/proposal/concession");
    if proposal.subject_hash != subject.hash || seen != Some(&json!(proposal.id)) {
        let detail = "the joint or the proposal has changed since: read it again, and where the \
                      joint has changed, let it be proposed again";
        return Err(AppError::PreconditionFailed { detail: detail.to_owned() });
    }
    let signed = signing::sign(&mut tx, by, (&challenge, &subject), &meaning, now).await?;
    let (project_id, role) = (project.id, project.role);
    let stored =
        store::concessions::approve(&mut tx, project_id, proposal.id, signed.id, role, now).await;
    stored.map_err(walled)?;
    let note = format!("use as is under concession: {}", proposal.reason);
    let (by, at, event) = (actor.user, now, None);
    let closing = Closing { by, at, note: &note, disposition: "use_as_is", event };
    let version = looked.nonconformance.version;
    if !store::nonconformances::close(&mut tx, project_id, id, version, &closing).await? {
        return Err(AppError::Contended);
    }
    // What the nonconformance and the gates held back may go on.
    let joint = looked.judged.joint.clone();
    let after = judge(&mut tx, project_id, joint, &setup, now).await?;
    store::joints::update(&mut tx, project_id, &after.joint, &after.assessment, now).await?;
    let view = view(&mut tx, project, &looked.nonconformance, proposal.id).await?;
    app.commit(tx).await?;
    Ok(view)
}
