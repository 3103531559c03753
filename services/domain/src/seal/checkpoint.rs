//! The signed statement about all chains of a project.

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};

use crate::{
    ids::ProjectId,
    joints::chain::{self, Hash},
};

/// What [`Checkpoint::purpose`] says: nothing else is signed under this name.
pub const PURPOSE: &str = "jointward checkpoint";

/// What is sealed. Its canonical JSON (RFC 8785) is what is signed and hashed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Checkpoint {
    /// [`PURPOSE`].
    pub purpose: String,
    /// Version of this form.
    pub version: u32,
    /// Project.
    pub project: ProjectId,
    /// Counted from 1.
    pub number: i64,
    /// The day in the project's zone; there is one checkpoint a day.
    pub day: NaiveDate,
    /// When it was made.
    pub sealed_at: DateTime<Utc>,
    /// Number of joints, which are the leaves of the tree, in the order of their ids.
    pub joints: u64,
    /// Number of records on all of them.
    pub facts: u64,
    /// Root of the tree, hexadecimal.
    pub root: String,
    /// Number of a change of the project: all up to it had happened at that moment.
    pub feed_seq: i64,
    /// Hash of the checkpoint before it, hexadecimal; zeroes before the first.
    pub previous: String,
    /// SHA-256 of the public key (its SubjectPublicKeyInfo) that verifies the signature.
    pub key: String,
}

/// Bytes are no checkpoint.
#[derive(Debug, thiserror::Error)]
pub enum CheckpointError {
    /// They are no JSON, or hold other fields.
    #[error("it cannot be read")]
    Unreadable(#[source] serde_json::Error),
    /// They say something else.
    #[error("it is no checkpoint of this form")]
    OtherForm,
    /// They are spelled otherwise than was signed.
    #[error("it is not in its canonical form")]
    NotCanonical,
}

impl Checkpoint {
    /// The canonical bytes.
    pub fn to_bytes(&self) -> Vec<u8> {
        // Plain data always serialises.
        serde_json_canonicalizer::to_vec(self).unwrap_or_default()
    }

    /// The hash by which the next one names it.
    pub fn hash(&self) -> Hash {
        chain::hash(&self.to_bytes())
    }

    /// Reads the canonical bytes.
    pub fn parse(bytes: &[u8]) -> Result<Self, CheckpointError> {
        let read: Self = serde_json::from_slice(bytes).map_err(CheckpointError::Unreadable)?;
        if read.purpose != PURPOSE || read.version != 1 {
            return Err(CheckpointError::OtherForm);
        }
        if read.to_bytes() != bytes {
            return Err(CheckpointError::NotCanonical);
        }
        Ok(read)
    }
}
