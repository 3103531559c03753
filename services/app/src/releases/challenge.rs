//! Shows somebody exactly what they are about to sign, and keeps its hash.

use chrono::{DateTime, Utc};
use serde::Serialize;

use super::subject::{Named, Shown, all_found, judgements, names, shown, subject};
use crate::{
    Actor, App, AppError,
    nonconformances::ShownConcession,
    projects::ProjectEntry,
    setup,
    signing::{self, Opened},
};

/// A challenge as it is shown.
#[derive(Debug, Clone, Serialize, utoipa::ToSchema)]
pub struct ChallengeView {
    /// Goes into the signature; good once.
    pub nonce: String,
    /// What is about to be signed, in words.
    pub summary: String,
    /// The joints of a release that is about to be signed.
    pub joints: Vec<Shown>,
    /// The concession that is about to be signed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub concession: Option<ShownConcession>,
    /// Hash of it, hexadecimal.
    pub subject_hash: String,
    /// Good until.
    pub expires_at: DateTime<Utc>,
}

/// Makes a challenge for the release of the joints named.
pub async fn challenge(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    named: &Named,
) -> Result<ChallengeView, AppError> {
    let now = app.clock.now();
    let mut tx = app.begin_in(project.id).await?;
    let setup = setup::snapshot(app, &mut tx, project.id).await?;
    let names = names(&mut tx, project, named).await?;
    let joints = store::joints::lock(&mut tx, project.id, &names).await?;
    all_found(&names, &joints)?;
    let judged = judgements(&mut tx, (actor, project), joints, &setup, now).await?;
    let joints: Vec<Shown> = judged.iter().map(shown).collect();
    let subject = subject(project, &joints)?;
    let subject_hash = hex::encode(subject.hash);
    let Opened { nonce, expires_at } =
        signing::open(&mut tx, (actor, project), subject, now).await?;
    app.commit(tx).await?;
    let ready = joints.iter().filter(|it| it.releasable).count();
    let summary = format!(
        "Backfill release in project {}: {ready} of {} joints can be released.",
        project.name,
        joints.len(),
    );
    let concession = None;
    Ok(ChallengeView { nonce, summary, joints, concession, subject_hash, expires_at })
}
