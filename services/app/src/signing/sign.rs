//! Takes a signature.

use chrono::{DateTime, Utc};
use domain::ids::SignatureId;
use secrecy::SecretString;
use store::{
    PgConnection,
    signing::{Challenge, NewSignature},
};

use super::{Purpose, Subject};
use crate::{Actor, AppError, accounts::Origin, new_id, projects::ProjectEntry};

/// The proof of identity for this very signing.
#[derive(Debug, Clone)]
pub struct Signing {
    /// From the challenge.
    pub nonce: String,
    /// The signer's password, given afresh.
    pub password: SecretString,
    /// With what meaning.
    pub meaning: String,
    /// From where.
    pub origin: Origin,
}

/// The challenge of `nonce`, locked, if it is one that `actor` may still sign.
pub(crate) async fn answered(
    conn: &mut PgConnection,
    (actor, project): (&Actor, &ProjectEntry),
    purpose: Purpose,
    nonce: &str,
    now: DateTime<Utc>,
) -> Result<Challenge, AppError> {
    let hash = auth::hash_token(nonce);
    let found = store::signing::lock_challenge(conn, project.id, purpose.name(), &hash).await?;
    let found = found.filter(|it| it.user == actor.user);
    match found {
        Some(it) if it.used_at.is_some() => Err(AppError::Conflict {
            code: "NONCE_USED",
            detail: "this challenge was signed already: ask for a new one".to_owned(),
        }),
        Some(it) if now <= it.expires_at => Ok(it),
        _ => Err(AppError::Unauthenticated {
            code: "NONCE_INVALID",
            detail: "no such challenge of yours, or it has expired: ask for a new one".to_owned(),
        }),
    }
}

/// Stores the signature under `subject` as it stands now; refused where it is not what the
/// challenge showed. Uses the challenge up.
pub(crate) async fn sign<'a>(
    conn: &mut PgConnection,
    (actor, project): (&'a Actor, &ProjectEntry),
    (challenge, subject): (&'a Challenge, &Subject),
    meaning: &'a str,
    now: DateTime<Utc>,
) -> Result<NewSignature<'a>, AppError> {
    if subject.hash.as_slice() != challenge.subject_hash {
        let detail = "what is signed has changed since the challenge was shown, or it is something \
                      else: ask for a new challenge and read it";
        return Err(AppError::PreconditionFailed { detail: detail.to_owned() });
    }
    let signature = NewSignature {
        id: SignatureId(new_id(now)),
        signer: actor.user,
        printed_name: &actor.name,
        signed_at: now,
        meaning,
        challenge: challenge.id,
        subject_hash: &challenge.subject_hash,
    };
    store::signing::insert_signature(conn, project.id, &signature).await?;
    Ok(signature)
}
