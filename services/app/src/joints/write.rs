//! The one way by which facts come onto a joint: fold, judge, append, contradict, open.
//!
//! The caller holds the lock of the joint and commits.

use std::{collections::HashMap, sync::Arc};

use chrono::{DateTime, Utc};
use domain::{
    ids::{EventId, NonconformanceId, ProjectId, UserId},
    joints::{
        Assessment, Fact, Finding, JointState, Outside, Severity, assess,
        chain::{self, Record},
        fact::NewFact,
        nonconformance::Scope,
        release::{BlockingCondition, contradictions, undone},
    },
    setup::ProjectSetup,
};
use store::{
    PgConnection,
    facts::{Appended, StoredFact},
    joints::StoredJoint,
    warnings::Raised,
};

use super::Judged;
use crate::{AppError, new_id};

/// What became of one fact.
#[derive(Debug, Clone, PartialEq)]
pub enum Outcome {
    /// It is stored.
    New(Box<Record>),
    /// It was stored already: the same send again.
    AlreadySo(Box<Record>),
    /// Another fact has this id.
    IdReused,
}

impl Outcome {
    /// Whether it changes what was consumed.
    pub(super) fn moves_stock(&self) -> bool {
        let Self::New(record) = self else { return false };
        record.supersedes.is_some() || record.event.lot_work().is_some()
    }
}

/// Who records, where and when.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Stamp {
    /// Project.
    pub project: ProjectId,
    /// Who is signed in.
    pub by: UserId,
    /// Now.
    pub now: DateTime<Utc>,
}

/// Records `facts` on `joint`, in their order.
pub(crate) async fn write(
    conn: &mut PgConnection,
    stamp: Stamp,
    mut joint: StoredJoint,
    facts: &[NewFact],
    setup: &Arc<ProjectSetup>,
) -> Result<(Judged, Vec<Outcome>), AppError> {
    let Stamp { project, now, .. } = stamp;
    let ids: Vec<EventId> = facts.iter().map(|fact| fact.id).collect();
    let stored = store::facts::of_joint_or_ids(conn, project, joint.id, &ids).await?;
    let (mut history, known) = read(&stored, &joint, &ids)?;
    let (outcomes, appended) = link(stamp, &mut joint, facts, known);
    let moments = moments(&history, facts);
    let mut outside = super::outside(conn, project, &joint, setup, &moments).await?;
    if appended.is_empty() {
        let assessment = assess(&joint.state, &joint.entry, setup, &outside, now);
        let Outside { release, readings, .. } = outside;
        let judged = Judged { joint, assessment, release, readings, setup: Arc::clone(setup) };
        return Ok((judged, outcomes));
    }
    store::facts::append(conn, &appended).await?;
    let records: Vec<&Record> = appended.iter().map(|it| &it.record).collect();
    store::lot_uses::append(conn, project, &records).await?;
    // One by one: what is sent together is judged as if it had been sent one after the other.
    let mut before = assess(&JointState::fold(&history), &joint.entry, setup, &outside, now);
    for fact in &appended {
        history.push(fact.record.to_fact());
        if outside.release.is_none() {
            continue;
        }
        joint.state = JointState::fold(&history);
        let after = assess(&joint.state, &joint.entry, setup, &outside, now);
        if let Some(blamed) = blamed(&joint, &outside, (&before, &after), fact, setup) {
            contradict(conn, (project, now), &joint, &mut outside, blamed).await?;
        }
        before = after;
    }
    joint.state = JointState::fold(&history);
    let mut assessment = assess(&joint.state, &joint.entry, setup, &outside, now);
    let from = nonconformance_from(&joint, setup);
    let is_serious = assessment.findings.iter().any(|it| it.severity >= from);
    // Nobody else opens one while we hold the lock of the joint: mostly there is nothing to do.
    let has_own = outside.nonconformances.iter().any(|it| it.scope == Scope::Joint);
    if is_serious || outside.contradicted || has_own {
        follow_findings(conn, (project, now), &joint, &assessment.findings, setup).await?;
        outside.nonconformances =
            store::nonconformances::open_of_joint(conn, project, joint.id).await?;
        assessment = assess(&joint.state, &joint.entry, setup, &outside, now);
    }
    store::joints::update(conn, project, &joint, &assessment, now).await?;
    let Outside { release, readings, .. } = outside;
    let judged = Judged { joint, assessment, release, readings, setup: Arc::clone(setup) };
    Ok((judged, outcomes))
}

/// The moments of all the facts that the weather is held against: whichever of them count before
/// and after the new ones, their readings are among those of these.
fn moments(history: &[Fact], new: &[NewFact]) -> Vec<DateTime<Utc>> {
    let old = history.iter().map(|fact| (&fact.event, fact.occurred_at));
    let all = old.chain(new.iter().map(|fact| (&fact.event, fact.occurred_at)));
    all.filter(|(event, _)| event.asks_for_readings()).map(|(_, at)| at).collect()
}

/// The facts of the joint, and the records that have one of `ids`, whatever joint they are on.
fn read(
    stored: &[StoredFact],
    joint: &StoredJoint,
    ids: &[EventId],
) -> Result<(Vec<Fact>, HashMap<EventId, Record>), AppError> {
    let (mut history, mut known) = (Vec::with_capacity(stored.len() + ids.len()), HashMap::new());
    for fact in stored {
        let record = fact.record()?;
        if fact.joint == joint.id {
            history.push(record.to_fact());
        }
        if ids.contains(&fact.columns.id) {
            known.insert(fact.columns.id, record);
        }
    }
    Ok((history, known))
}

/// Links the facts that are new to the chain of the joint; `known` are the records that have one
/// of their ids already.
fn link(
    stamp: Stamp,
    joint: &mut StoredJoint,
    facts: &[NewFact],
    mut known: HashMap<EventId, Record>,
) -> (Vec<Outcome>, Vec<Appended>) {
    let (mut outcomes, mut appended) = (Vec::new(), Vec::new());
    for fact in facts {
        if let Some(record) = known.get(&fact.id) {
            let same = record.joint == joint.id && record.says_the_same(fact);
            outcomes.push(if same {
                Outcome::AlreadySo(Box::new(record.clone()))
            } else {
                Outcome::IdReused
            });
            continue;
        }
        joint.chain_seq += 1;
        let at = (stamp.now, stamp.by);
        let key = (stamp.project, joint.id);
        let record = Record::new(key, fact, at, joint.chain_seq, &joint.chain_head);
        let bytes = record.to_bytes();
        let hash = chain::hash(&bytes);
        let late = joint.newest_at.is_some_and(|newest| fact.occurred_at < newest);
        joint.chain_head = hash;
        joint.newest_at = joint.newest_at.max(Some(fact.occurred_at));
        known.insert(fact.id, record.clone());
        outcomes.push(Outcome::New(Box::new(record.clone())));
        appended.push(Appended { record, bytes, hash, late });
    }
    (outcomes, appended)
}

/// Why a release was contradicted, and by which fact.
pub(crate) struct Blamed {
    /// The fact.
    pub by: EventId,
    /// Every reason.
    pub why: Vec<BlockingCondition>,
}

/// What the new fact says against the release in force.
fn blamed(
    joint: &StoredJoint,
    outside: &Outside,
    (before, after): (&Assessment, &Assessment),
    fact: &Appended,
    setup: &ProjectSetup,
) -> Option<Blamed> {
    let release = outside.release.as_ref()?;
    let mut why = contradictions(before, after);
    if why.is_empty() {
        why = undone(release, &joint.state, &joint.entry, setup);
    }
    (!why.is_empty()).then_some(Blamed { by: fact.record.id, why })
}

/// Marks the release in force contradicted, opens its nonconformance and warns.
pub(crate) async fn contradict(
    conn: &mut PgConnection,
    (project, now): (ProjectId, DateTime<Utc>),
    joint: &StoredJoint,
    outside: &mut Outside,
    Blamed { by, why }: Blamed,
) -> Result<(), AppError> {
    let Some(release) = &outside.release else { return Ok(()) };
    store::releases::contradict(conn, project, release.id, by, now, &why).await?;
    let reasons: Vec<&str> = why.iter().map(|it| it.detail.as_str()).collect();
    let buried = joint.state.buried().is_some();
    let number = &joint.entry.joint_number;
    let detail = format!(
        "the release of joint {number}{} is contradicted: {}",
        if buried { ", which is under the soil," } else { "" },
        reasons.join("; ")
    );
    let finding = Finding {
        code: "RELEASE_CONTRADICTED".to_owned(),
        severity: if buried { Severity::Critical } else { Severity::Major },
        detail: detail.clone(),
        event: by,
    };
    let opened = [(NonconformanceId(new_id(now)), &finding)];
    store::nonconformances::open_for_findings(conn, project, joint.id, &opened, now).await?;
    let warning = Raised {
        id: new_id(now),
        kind: "release_contradicted",
        subject: number,
        severity: "urgent",
        detail: &detail,
        values: serde_json::Value::Null,
    };
    store::warnings::raise(conn, project, &warning, now).await?;
    outside.release = None;
    outside.contradicted = true;
    Ok(())
}

/// Opens a nonconformance for each serious finding; lets those lapse whose finding is gone.
pub(crate) async fn follow_findings(
    conn: &mut PgConnection,
    (project, now): (ProjectId, DateTime<Utc>),
    joint: &StoredJoint,
    findings: &[Finding],
    setup: &ProjectSetup,
) -> Result<(), AppError> {
    let from = nonconformance_from(joint, setup);
    let serious: Vec<Finding> = findings.iter().filter(|it| it.severity >= from).cloned().collect();
    let opened: Vec<(NonconformanceId, &Finding)> =
        serious.iter().map(|finding| (NonconformanceId(new_id(now)), finding)).collect();
    store::nonconformances::open_for_findings(conn, project, joint.id, &opened, now).await?;
    store::nonconformances::lapse(conn, project, joint.id, &serious, now).await?;
    Ok(())
}

/// From which severity a finding becomes a nonconformance.
fn nonconformance_from(joint: &StoredJoint, setup: &ProjectSetup) -> Severity {
    let plan = setup.assignment(&joint.entry).map(|assigned| assigned.plan);
    plan.map_or(Severity::Major, |plan| plan.nonconformance_from)
}
