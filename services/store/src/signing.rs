//! What people are shown before they sign, and their signatures.

use chrono::{DateTime, Utc};
use domain::ids::{ChallengeId, ProjectId, SignatureId, UserId};
use serde_json::Value;
use sqlx::PgConnection;

use crate::{StoreError, error::database};

/// What somebody was shown before signing.
#[derive(Debug, Clone)]
pub struct Challenge {
    /// Id.
    pub id: ChallengeId,
    /// Who was shown it.
    pub user: UserId,
    /// What was shown.
    pub subject: Value,
    /// Hash of exactly what was shown.
    pub subject_hash: Vec<u8>,
    /// Good until.
    pub expires_at: DateTime<Utc>,
    /// Used at.
    pub used_at: Option<DateTime<Utc>>,
}

/// Stores a challenge.
pub async fn insert_challenge(
    conn: &mut PgConnection,
    project: ProjectId,
    purpose: &str,
    challenge: &Challenge,
    nonce_hash: &[u8],
    created_at: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO signing_challenges (project_id, id, user_id, purpose, nonce_hash, subject,
                                         subject_hash, created_at, expires_at)
         VALUES ($1, $2, $3, $9, $4, $5, $6, $7, $8)",
        project.0,
        challenge.id.0,
        challenge.user.0,
        nonce_hash,
        challenge.subject,
        challenge.subject_hash,
        created_at,
        challenge.expires_at,
        purpose,
    )
    .execute(conn)
    .await
    .map_err(database("store a signing challenge"))?;
    Ok(())
}

/// Finds the challenge of a nonce for that purpose and locks it: a nonce is good once.
pub async fn lock_challenge(
    conn: &mut PgConnection,
    project: ProjectId,
    purpose: &str,
    nonce_hash: &[u8],
) -> Result<Option<Challenge>, StoreError> {
    sqlx::query_as!(
        Challenge,
        r#"SELECT id, user_id AS "user!", subject, subject_hash, expires_at, used_at
             FROM signing_challenges
            WHERE project_id = $1 AND nonce_hash = $2 AND purpose = $3 FOR UPDATE"#,
        project.0,
        nonce_hash,
        purpose,
    )
    .fetch_optional(conn)
    .await
    .map_err(database("find a signing challenge"))
}

/// A signature to store.
pub struct NewSignature<'a> {
    /// Id.
    pub id: SignatureId,
    /// Who.
    pub signer: UserId,
    /// Printed name.
    pub printed_name: &'a str,
    /// When.
    pub signed_at: DateTime<Utc>,
    /// With what meaning.
    pub meaning: &'a str,
    /// The challenge it answers.
    pub challenge: ChallengeId,
    /// Hash of exactly what was shown.
    pub subject_hash: &'a [u8],
}

/// Stores a signature and uses its challenge up.
pub async fn insert_signature(
    conn: &mut PgConnection,
    project: ProjectId,
    signature: &NewSignature<'_>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "WITH used AS (
             UPDATE signing_challenges SET used_at = $5
              WHERE project_id = $1 AND id = $7 AND used_at IS NULL RETURNING id
         )
         INSERT INTO signatures (project_id, id, signer_id, printed_name, signed_at, meaning,
                                 auth_method, challenge_id, subject_hash)
         SELECT $1, $2, $3, $4, $5, $6, 'password', used.id, $8 FROM used",
        project.0,
        signature.id.0,
        signature.signer.0,
        signature.printed_name,
        signature.signed_at,
        signature.meaning,
        signature.challenge.0,
        signature.subject_hash,
    )
    .execute(conn)
    .await
    .map_err(database("store a signature"))?;
    Ok(())
}
