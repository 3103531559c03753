//! Concessions: proposed by one signature, in force by a second.

use chrono::{DateTime, Utc};
use domain::{
    access::Role,
    ids::{ConcessionId, JointId, NonconformanceId, ProjectId, SignatureId, UserId},
    joints::concession::{Signer, Waived},
};
use serde::Deserialize;
use sqlx::{PgConnection, types::Json};

use crate::{StoreError, error::database, joints::StoredJoint};

/// A concession to propose.
pub struct NewConcession<'a> {
    /// Id.
    pub id: ConcessionId,
    /// What it would close.
    pub nonconformance: NonconformanceId,
    /// Names of the gates.
    pub gates: &'a [String],
    /// The reasons that were shown.
    pub waived: &'a [Waived],
    /// Why it can be used as it is.
    pub reason: &'a str,
    /// The first signature.
    pub signature: SignatureId,
    /// As what the signer signed.
    pub role: Role,
    /// When.
    pub at: DateTime<Utc>,
}

/// Stores a proposal of a concession on `joint`.
pub async fn propose(
    conn: &mut PgConnection,
    project: ProjectId,
    joint: &StoredJoint,
    proposal: &NewConcession<'_>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "WITH proposed AS (
             INSERT INTO concessions (project_id, id, nonconformance_id, joint_id, chain_head, gates,
                                      waived, reason, signature_id, signer_role, proposed_at)
             VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)
             RETURNING id, nonconformance_id
         )
         INSERT INTO feed_pending (project_id, topic, subject, body, at)
         SELECT $1, 'concession.proposed', n.number::text,
                jsonb_build_object('concession', p.id, 'nonconformance', n.id, 'number', n.number,
                                   'joint', $12::text, 'gates', $6::text[]),
                $11
           FROM proposed p
           JOIN nonconformances n ON n.project_id = $1 AND n.id = p.nonconformance_id",
        project.0,
        proposal.id.0,
        proposal.nonconformance.0,
        joint.id.0,
        joint.chain_head.as_slice(),
        proposal.gates,
        Json(proposal.waived) as Json<&[Waived]>,
        proposal.reason,
        proposal.signature.0,
        proposal.role.name(),
        proposal.at,
        joint.entry.joint_number,
    )
    .execute(conn)
    .await
    .map_err(database("propose a concession"))?;
    Ok(())
}

/// Stores the second signature. The database refuses it by trigger where the two are not two, or
/// not of the same.
pub async fn approve(
    conn: &mut PgConnection,
    project: ProjectId,
    concession: ConcessionId,
    signature: SignatureId,
    role: Role,
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "WITH approved AS (
             INSERT INTO concession_approvals (project_id, concession_id, signature_id, signer_role,
                                               approved_at)
             VALUES ($1, $2, $3, $4, $5)
             RETURNING concession_id
         )
         INSERT INTO feed_pending (project_id, topic, subject, body, at)
         SELECT $1, 'concession.approved', n.number::text,
                jsonb_build_object('concession', c.id, 'nonconformance', n.id, 'number', n.number,
                                   'joint', j.joint_number, 'gates', c.gates),
                $5
           FROM approved a
           JOIN concessions c ON c.project_id = $1 AND c.id = a.concession_id
           JOIN nonconformances n ON n.project_id = $1 AND n.id = c.nonconformance_id
           JOIN joints j ON j.project_id = $1 AND j.id = c.joint_id",
        project.0,
        concession.0,
        signature.0,
        role.name(),
        at,
    )
    .execute(conn)
    .await
    .map_err(database("approve a concession"))?;
    Ok(())
}

/// A concession with its signatures.
#[derive(Debug, Clone)]
pub struct StoredConcession {
    /// Id.
    pub id: ConcessionId,
    /// The joint.
    pub joint: JointId,
    /// Names of the gates.
    pub gates: Vec<String>,
    /// The reasons that were shown.
    pub waived: Json<Vec<Waived>>,
    /// Why it can be used as it is.
    pub reason: String,
    /// Hash of what both sign.
    pub subject_hash: Vec<u8>,
    /// Who proposed it.
    pub signer: UserId,
    /// As what they are a member now.
    pub signer_is: Option<String>,
    /// Printed name.
    pub printed_name: String,
    /// As what they signed.
    pub signer_role: String,
    /// With what meaning.
    pub meaning: String,
    /// When.
    pub proposed_at: DateTime<Utc>,
    /// The second signature.
    pub approval: Option<Json<Approval>>,
}

/// The second signature.
#[derive(Debug, Clone, Deserialize)]
pub struct Approval {
    /// Printed name.
    pub printed_name: String,
    /// As what they signed.
    pub role: String,
    /// With what meaning.
    pub meaning: String,
    /// When.
    pub signed_at: DateTime<Utc>,
}

impl StoredConcession {
    /// Who proposed it, as what they are a member now.
    pub fn proposer(&self) -> Signer {
        Signer { user: self.signer, role: self.signer_is.as_deref().and_then(Role::parse) }
    }
}

/// The concessions of a nonconformance, newest first.
pub async fn of_nonconformance(
    conn: &mut PgConnection,
    project: ProjectId,
    nonconformance: NonconformanceId,
) -> Result<Vec<StoredConcession>, StoreError> {
    sqlx::query_as!(
        StoredConcession,
        r#"SELECT c.id, c.joint_id AS joint, c.gates, c.waived AS "waived: Json<Vec<Waived>>",
                  c.reason, s.subject_hash, s.signer_id AS signer, m.role AS "signer_is?",
                  s.printed_name, c.signer_role, s.meaning, c.proposed_at,
                  CASE WHEN a.concession_id IS NOT NULL THEN jsonb_build_object(
                      'printed_name', t.printed_name, 'role', a.signer_role,
                      'meaning', t.meaning, 'signed_at', a.approved_at) END
                      AS "approval: Json<Approval>"
             FROM concessions c
             JOIN signatures s ON s.project_id = c.project_id AND s.id = c.signature_id
             LEFT JOIN members m ON m.project_id = c.project_id AND m.user_id = s.signer_id
             LEFT JOIN concession_approvals a
               ON a.project_id = c.project_id AND a.concession_id = c.id
             LEFT JOIN signatures t ON t.project_id = a.project_id AND t.id = a.signature_id
            WHERE c.project_id = $1 AND c.nonconformance_id = $2
            ORDER BY c.proposed_at DESC, c.id DESC"#,
        project.0,
        nonconformance.0,
    )
    .fetch_all(conn)
    .await
    .map_err(database("read the concessions of a nonconformance"))
}
