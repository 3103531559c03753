//! Use as is under concession: proposed by one person, in force when another has signed the same.

mod approve;
mod challenge;
mod propose;
mod subject;

use chrono::{DateTime, Utc};
use domain::{
    ids::{ConcessionId, NonconformanceId},
    joints::concession::Waived,
};
use serde::Serialize;
use store::{concessions::StoredConcession, nonconformances::ShownNonconformance};

pub use approve::approve;
pub use challenge::challenge as challenge_concession;
pub use propose::{Proposal, propose};
pub use subject::{ProposalShown, ShownConcession};

/// A concession as it is shown.
#[derive(Debug, Clone, Serialize, utoipa::ToSchema)]
pub struct ConcessionView {
    /// Id.
    pub id: ConcessionId,
    /// The nonconformance that it closes.
    pub nonconformance: NonconformanceId,
    /// Number of the joint.
    pub joint: String,
    /// `proposed`, or `in_force` once a second person has signed.
    pub status: &'static str,
    /// Why it can be used as it is.
    pub reason: String,
    /// The gates that it opens.
    pub gates: Vec<String>,
    /// The reasons for which it opens them, exactly.
    pub waived: Vec<Waived>,
    /// Hash of what both sign, hexadecimal.
    pub subject_hash: String,
    /// The signatures, the first one first.
    pub signatures: Vec<SignatureView>,
}

/// A signature as it is shown.
#[derive(Debug, Clone, Serialize, utoipa::ToSchema)]
pub struct SignatureView {
    /// Printed name of who signed.
    pub printed_name: String,
    /// As what they signed.
    pub role: String,
    /// With what meaning.
    pub meaning: String,
    /// When.
    pub signed_at: DateTime<Utc>,
}

impl ConcessionView {
    /// A concession of `nonconformance`.
    pub(super) fn new(nonconformance: &ShownNonconformance, it: StoredConcession) -> Self {
        let first = SignatureView {
            printed_name: it.printed_name,
            role: it.signer_role,
            meaning: it.meaning,
            signed_at: it.proposed_at,
        };
        let second = it.approval;
        let status = if second.is_some() { "in_force" } else { "proposed" };
        let second = second.map(|it| SignatureView {
            printed_name: it.0.printed_name,
            role: it.0.role,
            meaning: it.0.meaning,
            signed_at: it.0.signed_at,
        });
        Self {
            id: it.id,
            nonconformance: nonconformance.id,
            joint: nonconformance.joint_number.clone().unwrap_or_default(),
            status,
            reason: it.reason,
            gates: it.gates,
            waived: it.waived.0,
            subject_hash: hex::encode(it.subject_hash),
            signatures: [first].into_iter().chain(second).collect(),
        }
    }
}
