//! Gives a challenge out.

use chrono::{DateTime, TimeDelta, Utc};
use domain::ids::ChallengeId;
use store::{PgConnection, signing::Challenge};

use super::Subject;
use crate::{Actor, AppError, new_id, projects::ProjectEntry};

/// How long a challenge is good.
const GOOD_FOR: TimeDelta = TimeDelta::minutes(5);

/// A challenge that was given out.
#[derive(Debug)]
pub(crate) struct Opened {
    /// Goes into the signature; kept only as its hash.
    pub nonce: String,
    /// Good until.
    pub expires_at: DateTime<Utc>,
}

/// Stores what `actor` is about to be shown.
pub(crate) async fn open(
    conn: &mut PgConnection,
    (actor, project): (&Actor, &ProjectEntry),
    subject: Subject,
    now: DateTime<Utc>,
) -> Result<Opened, AppError> {
    let nonce = auth::random_token();
    let challenge = Challenge {
        id: ChallengeId(new_id(now)),
        user: actor.user,
        subject: subject.shown,
        subject_hash: subject.hash.to_vec(),
        expires_at: now + GOOD_FOR,
        used_at: None,
    };
    let (purpose, nonce_hash) = (subject.purpose.name(), auth::hash_token(&nonce));
    store::signing::insert_challenge(conn, project.id, purpose, &challenge, &nonce_hash, now)
        .await?;
    Ok(Opened { nonce, expires_at: challenge.expires_at })
}
