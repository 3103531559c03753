//! Shows somebody exactly what concession they are about to sign.

use domain::{
    access::Permission,
    ids::NonconformanceId,
    joints::{
        GateKind,
        concession::{Signer, against_approval, against_proposal},
    },
};

use super::subject::{Looked, ProposalShown, ShownConcession, look};
use crate::{
    Actor, App, AppError,
    projects::ProjectEntry,
    releases::ChallengeView,
    setup,
    signing::{self, Opened},
};

/// Makes a challenge for the concession of the nonconformance `id`: for the approval of the newest
/// proposal where the gates are the same, for a proposal of one's own otherwise.
pub async fn challenge(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    id: NonconformanceId,
    gates: Option<&[GateKind]>,
) -> Result<ChallengeView, AppError> {
    project.require(Permission::SignConcessions)?;
    let now = app.clock.now();
    let mut tx = app.begin_in(project.id).await?;
    let setup = setup::snapshot(app, &mut tx, project.id).await?;
    let looked = look(&mut tx, project, id, gates, &setup, now).await?;
    let signer = Signer { user: actor.user, role: Some(project.role) };
    let shown = shown(&looked, &subject_hash(project, &looked)?, signer);
    let kept = serde_json::to_value(&shown).map_err(|error| AppError::internal(&error))?;
    let subject = looked.subject(project, kept)?;
    let subject_hash = hex::encode(subject.hash);
    let Opened { nonce, expires_at } =
        signing::open(&mut tx, (actor, project), subject, now).await?;
    app.commit(tx).await?;
    let summary = summary(&shown, project);
    let (joints, concession) = (Vec::new(), Some(shown));
    Ok(ChallengeView { nonce, summary, joints, concession, subject_hash, expires_at })
}

fn subject_hash(project: &ProjectEntry, looked: &Looked) -> Result<Vec<u8>, AppError> {
    Ok(looked.subject(project, serde_json::Value::Null)?.hash.to_vec())
}

fn shown(looked: &Looked, hash: &[u8], signer: Signer) -> ShownConcession {
    let (joint, nonconformance) = (&looked.judged.joint, &looked.nonconformance);
    // A proposal of what has changed since is none that could be approved.
    let proposal = looked.proposal.as_ref().filter(|it| it.subject_hash == hash);
    let judged = (&joint.state, &looked.judged.assessment);
    let (setup, about, gates) = (&looked.judged.setup, looked.about(), &looked.gates);
    let blocking_conditions = match proposal {
        Some(it) if it.signer != signer.user => {
            against_approval(judged, setup, about, gates, (it.proposer(), signer))
        }
        _ => against_proposal(judged, setup, about, gates, signer),
    };
    ShownConcession {
        nonconformance: nonconformance.id,
        number: nonconformance.number,
        joint: joint.entry.joint_number.clone(),
        nature: nonconformance.nature.clone(),
        severity: nonconformance.severity.clone(),
        chain_head: hex::encode(joint.chain_head),
        gates: gates.clone(),
        waived: looked.waived.clone(),
        blocking_conditions,
        proposal: proposal.map(|it| ProposalShown {
            concession: it.id,
            reason: it.reason.clone(),
            proposed_by: it.printed_name.clone(),
            meaning: it.meaning.clone(),
            proposed_at: it.proposed_at,
        }),
    }
}

fn summary(shown: &ShownConcession, project: &ProjectEntry) -> String {
    let what = match &shown.proposal {
        Some(it) => format!("Concession proposed by {}", it.proposed_by),
        None => "Proposal of a concession".to_owned(),
    };
    format!(
        "{what} in project {}: joint {} is used as it is, nonconformance {} is closed, and {} \
         reasons against its backfill release are waived.",
        project.name,
        shown.joint,
        shown.number,
        shown.waived.len(),
    )
}
