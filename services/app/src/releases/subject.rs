//! What is signed: the joints as they stand, each with its chain head and its gates.

use std::sync::Arc;

use chrono::{DateTime, Utc};
use domain::{
    joints::{
        Stage,
        release::{self, BlockingCondition, Decision},
    },
    setup::ProjectSetup,
};
use serde::Serialize;
use serde_json::json;
use store::{PgConnection, joints::StoredJoint};
use units::Kp;

use crate::{
    Actor, AppError,
    joints::{Judged, folded, judge},
    projects::ProjectEntry,
    signing::{Purpose, Subject},
};

/// More joints than anybody reads before signing once.
const MOST: usize = 2_000;

/// Which joints are meant.
#[derive(Debug, Clone)]
pub enum Named {
    /// By number or id.
    Joints(Vec<String>),
    /// Those of a stretch.
    Stretch {
        /// From, included.
        from: Kp,
        /// To, included.
        to: Kp,
        /// Only those of this section.
        section: Option<String>,
    },
}

impl Named {
    /// A single joint is answered with 201 or 409, several with a list.
    pub fn is_single(&self) -> bool {
        matches!(self, Self::Joints(joints) if joints.len() == 1)
    }
}

/// One joint of the subject with what would be decided on it.
#[derive(Debug)]
pub(super) struct Judgement {
    pub judged: Judged,
    pub decision: Decision,
}

/// What is shown of one joint before signing.
#[derive(Debug, Clone, Serialize, utoipa::ToSchema)]
pub struct Shown {
    /// Number.
    pub joint: String,
    /// Stage.
    pub stage: Stage,
    /// Hash of its newest record: any fact in between changes it.
    pub chain_head: String,
    /// Whether it would be released.
    pub releasable: bool,
    /// Why not.
    pub blocking_conditions: Vec<BlockingCondition>,
}

/// The names of the joints meant; all of them must exist.
pub(super) async fn names(
    conn: &mut PgConnection,
    project: &ProjectEntry,
    named: &Named,
) -> Result<Vec<String>, AppError> {
    let names = match named {
        Named::Joints(joints) => joints.clone(),
        Named::Stretch { from, to, section } => {
            let most = i64::try_from(MOST).unwrap_or(i64::MAX) + 1;
            store::joints::numbers_between(conn, project.id, section.as_deref(), *from, *to, most)
                .await?
        }
    };
    if names.len() > MOST {
        let detail = format!("more than {MOST} joints: sign shorter stretches");
        return Err(AppError::Conflict { code: "TOO_MANY_JOINTS", detail });
    }
    if names.is_empty() {
        return Err(AppError::not_found("joint in that stretch"));
    }
    Ok(names)
}

/// Judges the joints for `signer`.
pub(super) async fn judgements(
    conn: &mut PgConnection,
    (actor, project): (&Actor, &ProjectEntry),
    joints: Vec<StoredJoint>,
    setup: &Arc<ProjectSetup>,
    now: DateTime<Utc>,
) -> Result<Vec<Judgement>, AppError> {
    let mut found = Vec::with_capacity(joints.len());
    for mut joint in joints {
        // From the facts themselves: what is remembered of them may be of an older program.
        joint.state = folded(conn, project.id, joint.id).await?;
        let judged = judge(conn, project.id, joint, setup, now).await?;
        let (state, assessment) = (&judged.joint.state, &judged.assessment);
        let in_force = judged.release.as_ref();
        let decision = release::release(state, assessment, in_force, actor.user, setup);
        found.push(Judgement { judged, decision });
    }
    found.sort_by(|a, b| {
        let (a, b) = (&a.judged.joint.entry, &b.judged.joint.entry);
        a.kp_m.total_cmp(&b.kp_m).then_with(|| a.joint_number.cmp(&b.joint_number))
    });
    Ok(found)
}

/// Refuses names without a joint.
pub(super) fn all_found(names: &[String], found: &[StoredJoint]) -> Result<(), AppError> {
    let is = |joint: &StoredJoint, name: &String| {
        joint.entry.joint_number == *name || joint.id.to_string().eq_ignore_ascii_case(name)
    };
    match names.iter().find(|name| !found.iter().any(|joint| is(joint, name))) {
        Some(name) => Err(AppError::not_found(format!("joint {name}"))),
        None => Ok(()),
    }
}

pub(super) fn shown(judgement: &Judgement) -> Shown {
    let joint = &judgement.judged.joint;
    let against = match &judgement.decision {
        Decision::Refused(against) => against.clone(),
        Decision::Granted { .. } | Decision::AlreadySo(_) => Vec::new(),
    };
    Shown {
        joint: joint.entry.joint_number.clone(),
        stage: judgement.judged.assessment.stage,
        chain_head: hex::encode(joint.chain_head),
        releasable: matches!(judgement.decision, Decision::Granted { .. }),
        blocking_conditions: against,
    }
}

/// What is signed: the project, the joints, their chains, and which are releasable. The wording of
/// reasons is left out: a minute passing may not void a signature.
pub(super) fn subject(project: &ProjectEntry, shown: &[Shown]) -> Result<Subject, AppError> {
    let joints: Vec<_> = shown
        .iter()
        .map(|it| json!({ "joint": it.joint, "head": it.chain_head, "releasable": it.releasable }))
        .collect();
    let bound = json!({ "project": project.id, "joints": joints });
    let shown = serde_json::to_value(shown).map_err(|error| AppError::internal(&error))?;
    Ok(Subject::new(Purpose::BackfillRelease, bound, shown))
}
