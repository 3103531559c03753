//! Posts what facts took to the stock ledger.

use std::collections::{BTreeMap, BTreeSet, HashSet};

use domain::{
    ids::{EventId, JointId, ProjectId},
    joints::Fact,
    setup::ProjectSetup,
    stock::{
        Balances, NewMovement, changes,
        consumption::{
            Consumption, FactUse, candidates, consume, crew_location, layer_need, unsettled,
        },
    },
};
use serde_json::json;
use store::{PgConnection, Tx, joints::StoredJoint, stock_movements::Filter, warnings::Raised};

use crate::{
    App, AppError, new_id,
    retry::Attempts,
    setup::snapshot,
    stock::{Stamp, lock_balances, post},
};

/// Facts of one transaction: whoever moves stock meanwhile waits so long.
const PAGE: i64 = 100;

/// More movements than a joint ever has.
const ALL: i64 = 100_000;

/// The kind of the warning.
const KIND: &str = "consumption_without_lot";

/// What was done.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct PostedConsumption {
    /// Facts that waited.
    pub facts: i64,
    /// Movements that took something.
    pub taken: i64,
    /// Movements that undo what superseded facts took.
    pub undone: i64,
    /// Facts of which nobody knows the lot.
    pub without_lot: i64,
    /// Facts of which nobody knows how much they took.
    pub unknown: i64,
}

/// Posts what the facts of `project` that wait for it took. However often it runs, and whoever
/// runs it at the same time, each fact is taken once.
pub async fn post_consumption(
    app: &App,
    project: ProjectId,
) -> Result<PostedConsumption, AppError> {
    let mut done = PostedConsumption::default();
    let mut attempts = Attempts::default();
    loop {
        match part(app, project).await {
            Err(AppError::Contended) if attempts.again().await => {}
            Err(error) => return Err(error),
            Ok(posted) if posted.facts == 0 => return Ok(done),
            Ok(posted) => {
                done.facts += posted.facts;
                done.taken += posted.taken;
                done.undone += posted.undone;
                done.without_lot += posted.without_lot;
                done.unknown += posted.unknown;
                attempts = Attempts::default();
            }
        }
    }
}

async fn part(app: &App, project: ProjectId) -> Result<PostedConsumption, AppError> {
    let now = app.clock.now();
    let mut tx = app.begin_in(project).await?;
    store::consumption::take_turns(&mut tx, project).await?;
    let due = store::consumption::take(&mut tx, project, PAGE).await?;
    let facts: Vec<EventId> = due.iter().map(|it| it.fact).collect();
    let mut done = PostedConsumption { facts: count(facts.len()), ..Default::default() };
    if facts.is_empty() {
        return Ok(done);
    }
    let setup = snapshot(app, &mut tx, project).await?;
    let joints: BTreeSet<JointId> = due.iter().map(|it| it.joint).collect();
    let joints: Vec<JointId> = joints.into_iter().collect();
    let due: HashSet<EventId> = facts.iter().copied().collect();
    let (mut movements, mut to_take) = (Vec::new(), Vec::new());
    for joint in store::joints::find_all(&mut tx, project, &joints).await? {
        let (reversals, open) = of_joint(&mut tx, project, &joint, &due).await?;
        movements.extend(reversals);
        to_take.extend(open.into_iter().map(|fact| (joint.clone(), fact)));
    }
    done.undone = count(movements.len());
    to_take.sort_by_key(|(_, fact)| (fact.occurred_at, fact.id));
    let uses: Vec<FactUse<'_>> = to_take
        .iter()
        .filter_map(|(joint, fact)| {
            let work = fact.event.lot_work()?;
            let need = work.layer.and_then(|layer| layer_need(&setup, &joint.entry, layer));
            Some(FactUse { joint: joint.id, fact, work, need })
        })
        .collect();
    let mut held = lock(&mut tx, &setup, &uses, &movements).await?;
    book(&mut held, &movements);
    let mut without_lot: BTreeMap<&str, JointId> = BTreeMap::new();
    for used in &uses {
        match consume(&setup, used, &held) {
            Consumption::Taken(taken) => {
                done.taken += count(taken.len());
                book(&mut held, &taken);
                movements.extend(taken);
            }
            Consumption::WithoutLot => {
                done.without_lot += 1;
                without_lot.insert(used.work.crew.unwrap_or("no crew"), used.joint);
            }
            Consumption::Unknown => done.unknown += 1,
        }
    }
    post(&mut tx, Stamp { project, by: None, now }, &movements).await?;
    for (crew, joint) in without_lot {
        let number = to_take.iter().find(|(it, _)| it.id == joint);
        let number = number.map_or("", |(it, _)| it.entry.joint_number.as_str());
        warn(app, &mut tx, project, crew, number).await?;
    }
    store::consumption::done(&mut tx, project, &facts).await?;
    app.commit(tx).await?;
    Ok(done)
}

async fn of_joint(
    conn: &mut PgConnection,
    project: ProjectId,
    joint: &StoredJoint,
    due: &HashSet<EventId>,
) -> Result<(Vec<NewMovement>, Vec<Fact>), AppError> {
    let mut facts = Vec::new();
    for stored in store::facts::of_joint(conn, project, joint.id).await? {
        facts.push(stored.record()?.to_fact());
    }
    let filter = Filter { joint: Some(joint.id), ..Filter::default() };
    let posted = store::stock_movements::list(conn, project, &filter, ALL).await?;
    let posted: Vec<NewMovement> = posted.into_iter().map(|it| it.movement).collect();
    let (reversals, to_take) = unsettled(&facts, due, &posted);
    Ok((reversals, to_take.into_iter().cloned().collect()))
}

/// Locks, in the one order of all, what the crews may have of the lots and where these end.
async fn lock(
    conn: &mut PgConnection,
    setup: &ProjectSetup,
    uses: &[FactUse<'_>],
    reversals: &[NewMovement],
) -> Result<Balances, AppError> {
    let mut pairs: BTreeSet<(String, String)> = changes(reversals).into_keys().collect();
    for used in uses {
        let place = used.work.crew.and_then(|crew| crew_location(setup, crew));
        let places = ["joint", "unrecorded"].into_iter().chain(place.map(|it| it.code.as_str()));
        for place in places {
            let lots = candidates(setup, used).into_iter();
            pairs.extend(lots.map(|lot| (place.to_owned(), lot.to_owned())));
        }
    }
    lock_balances(conn, pairs).await
}

fn book(held: &mut Balances, movements: &[NewMovement]) {
    for (place, change) in changes(movements) {
        *held.entry(place).or_default() += change;
    }
}

async fn warn(
    app: &App,
    tx: &mut Tx,
    project: ProjectId,
    crew: &str,
    joint: &str,
) -> Result<(), AppError> {
    let now = app.clock.now();
    let detail = format!(
        "what {crew} put on joint {joint} names no lot, and no stock of the crew tells which it \
         was: nothing was taken from stock"
    );
    let values = json!({ "crew": crew, "joint": joint });
    let (id, severity, detail) = (new_id(now), "notice", detail.as_str());
    let warning = Raised { id, kind: KIND, subject: crew, severity, detail, values };
    store::warnings::raise(tx, project, &warning, now).await?;
    Ok(())
}

fn count(number: usize) -> i64 {
    i64::try_from(number).unwrap_or(i64::MAX)
}
