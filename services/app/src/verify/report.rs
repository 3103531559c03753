//! What a verification found.

use serde::Serialize;
use utoipa::ToSchema;

/// What a verification found.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, ToSchema)]
pub struct Report {
    /// Joints looked at.
    pub joints: u64,
    /// Records looked at.
    pub facts: u64,
    /// Checkpoints looked at, in the database and in files.
    pub checkpoints: u64,
    /// Everything that does not match.
    pub faults: Vec<Fault>,
}

/// One thing that does not match.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct Fault {
    /// Code of the project.
    pub project: String,
    /// Number of the joint, or its id where it is not in the register; `checkpoint` and its number
    /// where that is wrong.
    pub joint: String,
    /// Place in the chain; none where the joint's own row or a checkpoint is wrong.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub seq: Option<i64>,
    /// What does not match.
    pub what: String,
}

/// How far a verification has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Progress {
    /// Joints looked at.
    pub joints: u64,
    /// Joints there are.
    pub joints_total: u64,
}
