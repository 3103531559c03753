//! What a copy consists of.

use chrono::{DateTime, Utc};
use domain::ids::ProjectId;
use serde::{Deserialize, Serialize};

/// What [`Manifest::purpose`] says: nothing else is signed under this name.
pub(super) const PURPOSE: &str = "jointward export";

/// What a copy consists of. Its canonical JSON (RFC 8785) is the file, and is what is signed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Manifest {
    /// `jointward export`.
    pub purpose: String,
    /// Version of this form.
    pub version: u32,
    /// Version of the program that wrote it.
    pub program: String,
    /// Project.
    pub project: ProjectId,
    /// Its code.
    pub code: String,
    /// Its name.
    pub name: String,
    /// The moment of which it is a copy.
    pub exported_at: DateTime<Utc>,
    /// SHA-256 of the public key that verifies the signature.
    pub key: String,
    /// Every file but those about this one.
    pub files: Vec<Listed>,
}

/// A file of a copy.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Listed {
    /// Name in the directory.
    pub name: String,
    /// Size.
    pub bytes: u64,
    /// Records in it.
    pub rows: u64,
    /// SHA-256, hexadecimal.
    pub sha256: String,
}

impl Manifest {
    /// The canonical bytes.
    pub fn to_bytes(&self) -> Vec<u8> {
        // Plain data always serialises.
        serde_json_canonicalizer::to_vec(self).unwrap_or_default()
    }

    /// Records in all files.
    pub fn rows(&self) -> u64 {
        self.files.iter().map(|it| it.rows).sum()
    }
}
