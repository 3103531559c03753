//! What is signed: the nonconformance, the joint as it stands, and the reasons that are waived.

use std::sync::Arc;

use chrono::{DateTime, Utc};
use domain::{
    ids::{ConcessionId, NonconformanceId},
    joints::{
        GateKind, Severity,
        concession::{About, Waived, waived},
        release::{BlockingCondition, gate_name},
    },
    setup::ProjectSetup,
};
use serde::Serialize;
use serde_json::json;
use store::{PgConnection, concessions::StoredConcession, nonconformances::ShownNonconformance};

use crate::{
    AppError,
    joints::{Judged, folded, judge},
    projects::ProjectEntry,
    signing::{Purpose, Subject},
};

/// What is shown before a concession is signed.
#[derive(Debug, Clone, Serialize, utoipa::ToSchema)]
pub struct ShownConcession {
    /// The nonconformance.
    pub nonconformance: NonconformanceId,
    /// Its number in the project.
    pub number: i64,
    /// Number of the joint.
    pub joint: String,
    /// What does not conform.
    pub nature: String,
    /// How bad it is.
    #[schema(value_type = Severity)]
    pub severity: String,
    /// Hash of the joint's newest record: any fact in between changes it.
    pub chain_head: String,
    /// The gates that would be opened.
    pub gates: Vec<GateKind>,
    /// The reasons for which they would be, exactly.
    pub waived: Vec<Waived>,
    /// What forbids the signer to sign.
    pub blocking_conditions: Vec<BlockingCondition>,
    /// The proposal that the signature would approve; none where it would be a proposal itself.
    pub proposal: Option<ProposalShown>,
}

/// A proposal as whoever approves it sees it.
#[derive(Debug, Clone, Serialize, utoipa::ToSchema)]
pub struct ProposalShown {
    /// Its id.
    pub concession: ConcessionId,
    /// Why it can be used as it is.
    pub reason: String,
    /// Printed name of who proposed it.
    pub proposed_by: String,
    /// With what meaning they signed.
    pub meaning: String,
    /// When.
    pub proposed_at: DateTime<Utc>,
}

/// A nonconformance with its joint, locked and judged.
pub(super) struct Looked {
    pub nonconformance: ShownNonconformance,
    pub judged: Judged,
    /// The newest proposal that nobody has approved.
    pub proposal: Option<StoredConcession>,
    pub gates: Vec<GateKind>,
    pub waived: Vec<Waived>,
}

impl Looked {
    pub(super) fn about(&self) -> About<'_> {
        let event = self.nonconformance.event_id.map(Into::into);
        About { code: &self.nonconformance.code, event }
    }

    /// What a signature is bound to; `shown` is kept beside its hash.
    pub(super) fn subject(
        &self,
        project: &ProjectEntry,
        shown: serde_json::Value,
    ) -> Result<Subject, AppError> {
        let waived = serde_json::to_value(&self.waived).map_err(|it| AppError::internal(&it))?;
        let bound = json!({
            "project": project.id,
            "nonconformance": self.nonconformance.id,
            "version": self.nonconformance.version,
            "joint": self.judged.joint.entry.joint_number,
            "head": hex::encode(self.judged.joint.chain_head),
            "gates": self.gates,
            "waived": waived,
        });
        Ok(Subject::new(Purpose::Concession, bound, shown))
    }
}

/// Locks the joint of the nonconformance `id`, which must be open, and judges it from its facts.
/// Without `gates`, those of the newest proposal are meant.
pub(super) async fn look(
    conn: &mut PgConnection,
    project: &ProjectEntry,
    id: NonconformanceId,
    gates: Option<&[GateKind]>,
    setup: &Arc<ProjectSetup>,
    now: DateTime<Utc>,
) -> Result<Looked, AppError> {
    let not_found = || AppError::not_found(format!("nonconformance {id}"));
    let found = store::nonconformances::find(conn, project.id, id).await?;
    let found = found.ok_or_else(not_found)?;
    let Some(named) = found.joint_number else {
        let detail = format!(
            "nonconformance {} is of no single joint: a concession is given joint by joint",
            found.number
        );
        return Err(AppError::Conflict { code: "CONCESSION_NEEDS_JOINT", detail });
    };
    let named = [named];
    let joint = store::joints::lock(conn, project.id, &named).await?.into_iter().next();
    let mut joint = joint.ok_or_else(not_found)?;
    // Once more: who decided on it had the lock.
    let nonconformance = store::nonconformances::find(conn, project.id, id).await?;
    let nonconformance = nonconformance.ok_or_else(not_found)?;
    if nonconformance.status != "open" {
        let (number, status) = (nonconformance.number, &nonconformance.status);
        let detail = format!("nonconformance {number} is {status} already");
        return Err(AppError::Conflict { code: "NONCONFORMANCE_NOT_OPEN", detail });
    }
    joint.state = folded(conn, project.id, joint.id).await?;
    let judged = judge(conn, project.id, joint, setup, now).await?;
    let stored = store::concessions::of_nonconformance(conn, project.id, id).await?;
    let proposal = stored.into_iter().find(|it| it.approval.is_none());
    let mut gates = match (gates, &proposal) {
        (Some(gates), _) => gates.to_vec(),
        (None, Some(proposal)) => named_gates(&proposal.gates),
        (None, None) => Vec::new(),
    };
    gates.sort_by_key(|gate| gate_name(*gate));
    gates.dedup();
    let waived = waived(&judged.assessment, &gates);
    Ok(Looked { nonconformance, judged, proposal, gates, waived })
}

pub(super) fn named_gates(names: &[String]) -> Vec<GateKind> {
    let kinds = names.iter().map(|name| serde_json::from_value(json!(name)));
    kinds.filter_map(Result::ok).collect()
}
