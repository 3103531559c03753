//! Records many facts, each on its own: one bad item never loses a good one.

use std::{collections::BTreeMap, sync::Arc};

use domain::{
    ids::EventId,
    joints::fact::{self, NewFact},
    schema::FieldError,
    setup::ProjectSetup,
};
use serde_json::Value;
use store::{Tx, error::database, joints::StoredJoint};

use super::{
    Outcome,
    record::{id_reused, may_supersede},
    write,
    write::Stamp,
};
use crate::{
    Actor, App, AppError, jobs::post_consumption_soon, projects::ProjectEntry, retry::Attempts,
    setup,
};

/// One item as it was sent.
#[derive(Debug, Clone)]
pub struct BatchItem {
    /// Number or id of the joint.
    pub joint: Option<String>,
    /// The fact.
    pub fact: Value,
}

/// What became of one item.
#[derive(Debug)]
pub struct ItemAnswer {
    /// Its place in the batch.
    pub index: usize,
    /// Its id, where one could be read.
    pub id: Option<EventId>,
    /// Stored now, stored already, or why not.
    pub result: Result<Outcome, AppError>,
}

/// Records a batch in one transaction, with a savepoint around each joint's facts and, where one
/// of them fails, around each fact.
pub async fn record_batch(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    items: Vec<BatchItem>,
) -> Result<Vec<ItemAnswer>, AppError> {
    let mut attempts = Attempts::default();
    loop {
        match record_once(app, actor, project, items.clone()).await {
            Err(AppError::Contended) if attempts.again().await => {}
            done => return done,
        }
    }
}

async fn record_once(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    items: Vec<BatchItem>,
) -> Result<Vec<ItemAnswer>, AppError> {
    let count = items.len();
    let mut answers: BTreeMap<usize, ItemAnswer> = BTreeMap::new();
    let mut by_joint: BTreeMap<String, Vec<(usize, NewFact)>> = BTreeMap::new();
    for (index, item) in items.into_iter().enumerate() {
        match read(project, item) {
            Ok((joint, fact)) => by_joint.entry(joint).or_default().push((index, fact)),
            Err((id, error)) => {
                answers.insert(index, ItemAnswer { index, id, result: Err(error) });
            }
        }
    }
    let stamp = Stamp { project: project.id, by: actor.user, now: app.clock.now() };
    let mut tx = app.begin_by_key(project.id).await?;
    let setup = setup::snapshot(app, &mut tx, project.id).await?;
    let named: Vec<String> = by_joint.keys().cloned().collect();
    let locked = store::joints::lock(&mut tx, project.id, &named).await?;
    for (joint, facts) in by_joint {
        let found = locked.iter().find(|it| is_named(it, &joint));
        let results = match found {
            Some(found) => on_joint(&mut tx, stamp, found, &facts, &setup).await?,
            None => {
                facts.iter().map(|_| Err(AppError::not_found(format!("joint {joint}")))).collect()
            }
        };
        for ((index, fact), result) in facts.into_iter().zip(results) {
            answers.insert(index, ItemAnswer { index, id: Some(fact.id), result });
        }
    }
    let moves_stock = |it: &ItemAnswer| it.result.as_ref().is_ok_and(Outcome::moves_stock);
    if answers.values().any(moves_stock) {
        post_consumption_soon(&mut tx, project.id, app.clock.now()).await?;
    }
    app.commit(tx).await?;
    debug_assert_eq!(answers.len(), count);
    Ok(answers.into_values().collect())
}

/// The facts of one joint: together if they can, else each on its own.
async fn on_joint(
    tx: &mut Tx,
    stamp: Stamp,
    joint: &StoredJoint,
    facts: &[(usize, NewFact)],
    setup: &Arc<ProjectSetup>,
) -> Result<Vec<Result<Outcome, AppError>>, AppError> {
    let all: Vec<NewFact> = facts.iter().map(|(_, fact)| fact.clone()).collect();
    if let Ok((_, outcomes)) = attempt(tx, stamp, joint.clone(), &all, setup).await? {
        return Ok(outcomes.into_iter().map(answer).collect());
    }
    let mut results = Vec::with_capacity(all.len());
    for fact in &all {
        // Read again: what the joint is now depends on the facts before this one.
        let name = joint.id.to_string();
        let now = store::joints::find(tx, stamp.project, &name).await?;
        let now = now.ok_or_else(|| AppError::Internal(format!("joint {name} is gone")))?;
        let one = std::slice::from_ref(fact);
        results.push(match attempt(tx, stamp, now, one, setup).await? {
            Ok((_, outcomes)) => outcomes
                .into_iter()
                .map(answer)
                .next()
                .unwrap_or_else(|| Err(AppError::Internal("a fact without an outcome".into()))),
            Err(error) => Err(error),
        });
    }
    Ok(results)
}

/// Writes inside a savepoint; what fails is undone and told, and the batch goes on.
async fn attempt(
    tx: &mut Tx,
    stamp: Stamp,
    joint: StoredJoint,
    facts: &[NewFact],
    setup: &Arc<ProjectSetup>,
) -> Result<Result<(super::Judged, Vec<Outcome>), AppError>, AppError> {
    let mut point = store::savepoint(tx).await?;
    match write(&mut point, stamp, joint, facts, setup).await {
        Ok(done) => {
            point.commit().await.map_err(database("release a savepoint"))?;
            Ok(Ok(done))
        }
        Err(error) => {
            point.rollback().await.map_err(database("go back to a savepoint"))?;
            Ok(Err(error))
        }
    }
}

fn answer(outcome: Outcome) -> Result<Outcome, AppError> {
    match outcome {
        Outcome::IdReused => Err(id_reused()),
        stored => Ok(stored),
    }
}

fn is_named(joint: &StoredJoint, name: &str) -> bool {
    joint.entry.joint_number == name || joint.id.to_string().eq_ignore_ascii_case(name)
}

type Unreadable = (Option<EventId>, AppError);

fn read(project: &ProjectEntry, item: BatchItem) -> Result<(String, NewFact), Unreadable> {
    let id = item.fact.get("id").and_then(Value::as_str).and_then(|it| it.parse().ok());
    let parsed = fact::parse(&item.fact);
    let fact = match (parsed, &item.joint) {
        (Ok(fact), Some(_)) => fact,
        (parsed, joint) => {
            let mut faults = parsed.err().unwrap_or_default();
            if joint.is_none() {
                let detail = "name the joint by its number or id";
                faults.push(FieldError::new("/joint", "REQUIRED", detail));
            }
            return Err((id, AppError::Invalid(faults)));
        }
    };
    may_supersede(project, &fact).map_err(|error| (id, error))?;
    Ok((item.joint.unwrap_or_default(), fact))
}
