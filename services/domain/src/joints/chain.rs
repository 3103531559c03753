//! The hash chain of one joint: every record holds the hash of the one before it.
//!
//! What is hashed is the canonical JSON (RFC 8785) of the whole record, and those very bytes are
//! stored. The chain is tamper-evident: it does not prove that a reading is true.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use sha2::{Digest, Sha256};

use super::{
    event::Event,
    fact::{Fact, NewFact},
};
use crate::ids::{EventId, JointId, ProjectId, UserId};

/// A SHA-256 hash.
pub type Hash = [u8; 32];

/// Before the first record.
pub const START: Hash = [0; 32];

/// The record of one fact, as it is hashed and stored.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Record {
    /// Version of this form.
    pub version: u32,
    /// Project.
    pub project: ProjectId,
    /// Joint.
    pub joint: JointId,
    /// Place in the chain of the joint, from 1.
    pub seq: i64,
    /// Client-made id.
    pub id: EventId,
    /// When it happened in the field.
    pub occurred_at: DateTime<Utc>,
    /// When the server stored it.
    pub recorded_at: DateTime<Utc>,
    /// Who was signed in.
    pub recorded_by: UserId,
    /// The entry this one takes the place of.
    pub supersedes: Option<EventId>,
    /// Why.
    pub reason: Option<String>,
    /// What happened.
    pub event: Event,
    /// Hash of the record before it, hexadecimal.
    pub previous: String,
}

impl Record {
    /// The record of `fact` at place `seq` after `previous`.
    pub fn new(
        (project, joint): (ProjectId, JointId),
        fact: &NewFact,
        (recorded_at, recorded_by): (DateTime<Utc>, UserId),
        seq: i64,
        previous: &Hash,
    ) -> Self {
        Self {
            version: 1,
            project,
            joint,
            seq,
            id: fact.id,
            occurred_at: fact.occurred_at,
            recorded_at,
            recorded_by,
            supersedes: fact.supersedes,
            reason: fact.reason.clone(),
            event: fact.event.clone(),
            previous: hex::encode(previous),
        }
    }

    /// The canonical bytes.
    pub fn to_bytes(&self) -> Vec<u8> {
        // A record is plain data without maps of other keys than text: it always serialises.
        serde_json_canonicalizer::to_vec(self).unwrap_or_default()
    }

    /// The fact it holds.
    pub fn to_fact(&self) -> Fact {
        Fact {
            id: self.id,
            occurred_at: self.occurred_at,
            recorded_at: self.recorded_at,
            recorded_by: self.recorded_by,
            supersedes: self.supersedes,
            event: self.event.clone(),
        }
    }

    /// The fact it holds, without a copy.
    pub fn into_fact(self) -> Fact {
        Fact {
            id: self.id,
            occurred_at: self.occurred_at,
            recorded_at: self.recorded_at,
            recorded_by: self.recorded_by,
            supersedes: self.supersedes,
            event: self.event,
        }
    }

    /// Whether `fact` says the same as this record: a repeated send, not a clash of ids.
    pub fn says_the_same(&self, fact: &NewFact) -> bool {
        self.occurred_at == fact.occurred_at
            && self.supersedes == fact.supersedes
            && self.reason == fact.reason
            && self.event == fact.event
    }
}

/// The hash of canonical bytes.
pub fn hash(bytes: &[u8]) -> Hash {
    Sha256::digest(bytes).into()
}

/// The canonical bytes of any value.
pub fn canonical(value: &Value) -> Vec<u8> {
    serde_json_canonicalizer::to_vec(value).unwrap_or_default()
}
