//! Signing: one mechanism for whatever is signed.
//!
//! Somebody asks for a challenge and is shown a subject. Its canonical form (RFC 8785) is hashed,
//! and a nonce is given out that is good once, for five minutes, for that purpose and that person.
//! Whoever signs sends the nonce with the password and a meaning; the subject is built once more,
//! and where it is not what was shown, nothing is signed.

mod challenge;
mod sign;

use domain::joints::chain;
use serde_json::Value;

pub(crate) use challenge::{Opened, open};
pub use sign::Signing;
pub(crate) use sign::{answered, sign};

/// What a signature is for. No nonce of one purpose signs for another.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Purpose {
    /// Release of joints for backfill.
    BackfillRelease,
    /// Use as is under concession: both signatures of it.
    Concession,
}

impl Purpose {
    /// The name in JSON and SQL.
    pub const fn name(self) -> &'static str {
        match self {
            Self::BackfillRelease => "backfill_release",
            Self::Concession => "concession",
        }
    }
}

/// What is signed.
#[derive(Debug)]
pub(crate) struct Subject {
    /// For what.
    pub purpose: Purpose,
    /// Hash of what the signature is bound to.
    pub hash: chain::Hash,
    /// What is shown of it, as it is kept beside the hash.
    pub shown: Value,
}

impl Subject {
    /// The subject whose signatures are bound to `bound`; its purpose is part of that.
    pub fn new(purpose: Purpose, mut bound: Value, shown: Value) -> Self {
        if let Some(bound) = bound.as_object_mut() {
            bound.insert("purpose".to_owned(), purpose.name().into());
        }
        Self { purpose, hash: chain::hash(&chain::canonical(&bound)), shown }
    }
}
