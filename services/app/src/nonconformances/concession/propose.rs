//! The first signature.

use domain::{
    access::Permission,
    ids::{ConcessionId, NonconformanceId},
    joints::{
        GateKind,
        concession::{Signer, against_proposal},
        release::{BlockingCondition, gate_name},
    },
};
use serde_json::Value;
use store::{concessions::NewConcession, nonconformances::ShownNonconformance};

use super::{ConcessionView, subject::look};
use crate::{
    Actor, App, AppError,
    accounts::prove,
    new_id,
    projects::ProjectEntry,
    setup,
    signing::{self, Purpose, Signing},
};

/// What is proposed.
#[derive(Debug, Clone)]
pub struct Proposal {
    /// Why it can be used as it is.
    pub reason: String,
    /// The gates to open.
    pub gates: Vec<GateKind>,
}

/// Proposes that the joint of the nonconformance `id` is used as it is.
pub async fn propose(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    id: NonconformanceId,
    proposal: &Proposal,
    signing: Signing,
) -> Result<ConcessionView, AppError> {
    project.require(Permission::SignConcessions)?;
    let Signing { nonce, password, meaning, origin } = signing;
    // Before the transaction: hashing takes longer than anybody should hold a lock.
    prove(app, actor, password, &origin).await?;
    let now = app.clock.now();
    let mut tx = app.begin_in(project.id).await?;
    let by = (actor, project);
    let challenge = signing::answered(&mut tx, by, Purpose::Concession, &nonce, now).await?;
    let setup = setup::snapshot(app, &mut tx, project.id).await?;
    let looked = look(&mut tx, project, id, Some(&proposal.gates), &setup, now).await?;
    let judged = (&looked.judged.joint.state, &looked.judged.assessment);
    let signer = Signer { user: actor.user, role: Some(project.role) };
    refused(&against_proposal(judged, &setup, looked.about(), &looked.gates, signer))?;
    let subject = looked.subject(project, Value::Null)?;
    let signed = signing::sign(&mut tx, by, (&challenge, &subject), &meaning, now).await?;
    let gates: Vec<String> = looked.gates.iter().map(|gate| gate_name(*gate)).collect();
    let concession = NewConcession {
        id: ConcessionId(new_id(now)),
        nonconformance: id,
        gates: &gates,
        waived: &looked.waived,
        reason: &proposal.reason,
        signature: signed.id,
        role: project.role,
        at: now,
    };
    let stored =
        store::concessions::propose(&mut tx, project.id, &looked.judged.joint, &concession).await;
    stored.map_err(walled)?;
    let view = view(&mut tx, project, &looked.nonconformance, concession.id).await?;
    app.commit(tx).await?;
    Ok(view)
}

/// The problem that says everything against it, by the code of the first reason.
pub(super) fn refused(against: &[BlockingCondition]) -> Result<(), AppError> {
    let codes = [
        "NOT_WAIVABLE",
        "NOTHING_TO_WAIVE",
        "APPLICATOR_CANNOT_SIGN",
        "SAME_PERSON",
        "QA_MANAGER_NEEDED",
    ];
    let named = codes.into_iter().find(|code| against.iter().any(|it| it.code == *code));
    let Some(code) = named else { return Ok(()) };
    let details: Vec<&str> = against.iter().map(|it| it.detail.as_str()).collect();
    let detail = details.join("; ");
    let blocking = serde_json::to_value(against).map_err(|it| AppError::internal(&it))?;
    Err(AppError::Refused { code, detail, blocking })
}

/// What the last wall saw and the decision did not: a refusal all the same, and a bug.
pub(super) fn walled(error: store::StoreError) -> AppError {
    let code = match error.constraint() {
        Some("concessions_gates_check" | "concessions_waived_check") => "NOT_WAIVABLE",
        Some("concession_approvals_person_check") => "SAME_PERSON",
        Some("concession_approvals_role_check") => "QA_MANAGER_NEEDED",
        Some("concession_approvals_applicator_check") => "APPLICATOR_CANNOT_SIGN",
        _ => return error.into(),
    };
    tracing::error!(code, "the database refused what was decided");
    AppError::Conflict { code, detail: "the database refuses the concession".to_owned() }
}

/// The concession `id` as it is shown.
pub(super) async fn view(
    conn: &mut store::PgConnection,
    project: &ProjectEntry,
    nonconformance: &ShownNonconformance,
    id: ConcessionId,
) -> Result<ConcessionView, AppError> {
    let stored = store::concessions::of_nonconformance(conn, project.id, nonconformance.id).await?;
    let found = stored.into_iter().find(|it| it.id == id);
    let found = found.ok_or_else(|| AppError::not_found(format!("concession {id}")))?;
    Ok(ConcessionView::new(nonconformance, found))
}
