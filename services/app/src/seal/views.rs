//! What is shown of checkpoints.

use auth::SealPublicKey;
use chrono::{DateTime, NaiveDate, Utc};
use domain::seal::Checkpoint;
use serde::Serialize;
use store::{StoreError, checkpoints::StoredCheckpoint};
use utoipa::ToSchema;
use uuid::Uuid;

/// A checkpoint over all joints of a project.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct CheckpointView {
    /// Counted from 1.
    pub number: i64,
    /// The day in the project's zone; there is one a day.
    pub day: NaiveDate,
    /// When it was made.
    pub sealed_at: DateTime<Utc>,
    /// Joints, which are the leaves of the tree.
    pub joints: u64,
    /// Records on all of them.
    pub facts: u64,
    /// Root of the Merkle tree (RFC 9162, section 2.1.1), hexadecimal.
    pub root: String,
    /// Number of the newest change of the project at that moment.
    pub feed_seq: i64,
    /// Hash of the checkpoint before it, hexadecimal; zeroes before the first.
    pub previous: String,
    /// SHA-256 of `signed`, hexadecimal. Whoever notes it elsewhere can tell later whether anything
    /// was changed.
    pub hash: String,
    /// The very text that was signed.
    pub signed: String,
    /// Ed25519 signature of `signed` (RFC 8032), hexadecimal.
    pub signature: String,
    /// The public key, hexadecimal. Compare it with the one that was handed over by another way.
    pub public_key: String,
    /// The same as PEM.
    pub public_key_pem: String,
    /// SHA-256 of the public key as SubjectPublicKeyInfo, hexadecimal.
    pub key: String,
}

impl TryFrom<StoredCheckpoint> for CheckpointView {
    type Error = StoreError;

    fn try_from(stored: StoredCheckpoint) -> Result<Self, StoreError> {
        let number = stored.number;
        let wrong = |what: String| StoreError::inconsistent("checkpoints", number, what);
        let says = Checkpoint::parse(&stored.signed).map_err(|it| wrong(it.to_string()))?;
        let key = SealPublicKey::from_bytes(&stored.public_key);
        let key = key.map_err(|it| wrong(it.to_string()))?;
        Ok(Self {
            number,
            day: says.day,
            sealed_at: says.sealed_at,
            joints: says.joints,
            facts: says.facts,
            root: says.root,
            feed_seq: says.feed_seq,
            previous: says.previous,
            hash: hex::encode(&stored.hash),
            signed: String::from_utf8_lossy(&stored.signed).into_owned(),
            signature: hex::encode(&stored.signature),
            public_key: hex::encode(key.as_bytes()),
            public_key_pem: key.to_pem(),
            key: key.fingerprint(),
        })
    }
}

/// Where the records of a joint stand, and the proof that a checkpoint covers them.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ProofView {
    /// Id of the joint.
    pub joint_id: Uuid,
    /// Its number.
    pub joint: String,
    /// Number of its records now.
    pub chain_seq: i64,
    /// Hash of the newest one, hexadecimal; zeroes where there is none.
    pub chain_head: String,
    /// The newest checkpoint that covers it; null where none does yet.
    #[schema(required)]
    pub sealed: Option<SealedView>,
}

/// The way from a joint to the root of a checkpoint.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct SealedView {
    /// The leaf: id of the joint, number of its records, hash of the newest one. What is hashed is
    /// the byte 0 and this text.
    pub leaf: String,
    /// Number of records that are sealed; those after it wait for the next checkpoint.
    pub chain_seq: i64,
    /// Hash of the newest one of them, hexadecimal.
    pub chain_head: String,
    /// Place of the leaf, from 0.
    pub index: u64,
    /// Number of leaves.
    pub size: u64,
    /// The hashes beside the way from the leaf to the root, from below (RFC 9162, section 2.1.3),
    /// hexadecimal.
    pub path: Vec<String>,
    /// The checkpoint.
    pub checkpoint: CheckpointView,
}
