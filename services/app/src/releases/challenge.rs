//! Shows somebody exactly what they are about to sign, and keeps its hash.

use chrono::{DateTime, TimeDelta, Utc};
use domain::ids::ChallengeId;
use serde::Serialize;
use store::releases::Challenge;

use super::subject::{Named, Shown, all_found, judgements, names, shown, subject_hash};
use crate::{Actor, App, AppError, new_id, projects::ProjectEntry, setup};

/// How long a challenge is good.
const GOOD_FOR: TimeDelta = TimeDelta::minutes(5);

/// A challenge as it is shown.
#[derive(Debug, Clone, Serialize, utoipa::ToSchema)]
pub struct ChallengeView {
    /// Goes into the signature; good once.
    pub nonce: String,
    /// What is about to be signed, in words.
    pub summary: String,
    /// What is about to be signed, joint by joint.
    pub joints: Vec<Shown>,
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
    let hash = subject_hash(project, &joints);
    let nonce = auth::random_token();
    let challenge = Challenge {
        id: ChallengeId(new_id(now)),
        user: actor.user,
        subject_hash: hash.to_vec(),
        expires_at: now + GOOD_FOR,
        used_at: None,
    };
    let subject = serde_json::to_value(&joints).map_err(|error| AppError::internal(&error))?;
    let nonce_hash = auth::hash_token(&nonce);
    store::releases::insert_challenge(&mut tx, project.id, &challenge, &nonce_hash, &subject, now)
        .await?;
    app.commit(tx).await?;
    let ready = joints.iter().filter(|it| it.releasable).count();
    let summary = format!(
        "Backfill release in project {}: {ready} of {} joints can be released.",
        project.name,
        joints.len(),
    );
    let expires_at = challenge.expires_at;
    Ok(ChallengeView { nonce, summary, joints, subject_hash: hex::encode(hash), expires_at })
}
