//! Approves what waits in a count: somebody else than who counted.

use std::collections::BTreeMap;

use domain::{access::Permission, ids::CountId};
use rust_decimal::Decimal;

use super::{
    CountView, Stamp,
    counts::{adjustment, view},
    lock_balances,
    post::post,
};
use crate::{Actor, App, AppError, projects::ProjectEntry, retry::Attempts, setup};

/// Puts the book right by what waits in the count `id`.
pub async fn approve_count(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    id: CountId,
) -> Result<CountView, AppError> {
    project.require(Permission::ManageMaterials)?;
    let mut attempts = Attempts::default();
    loop {
        match attempt(app, actor, project, id).await {
            Err(AppError::Contended) if attempts.again().await => {}
            done => return done,
        }
    }
}

async fn attempt(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    id: CountId,
) -> Result<CountView, AppError> {
    let now = app.clock.now();
    let mut tx = app.begin_in(project.id).await?;
    let setup = setup::snapshot(app, &mut tx, project.id).await?;
    let count = store::stock_counts::lock(&mut tx, project.id, id).await?;
    let mut count = count.ok_or_else(|| AppError::not_found(format!("count {id}")))?;
    if count.counted_by == actor.user {
        let detail = "a count is approved by somebody else than who counted".to_owned();
        return Err(AppError::Conflict { code: "SAME_PERSON", detail });
    }
    // A later count of the same lots would make these lines void: it waits for these locks.
    let lines = store::stock_counts::lines(&mut tx, project.id, &[id]).await?;
    let pairs = lines.iter().flat_map(|line| {
        ["adjustment", &count.location].map(|place| (place.to_owned(), line.lot.clone()))
    });
    let held = lock_balances(&mut tx, pairs).await?;
    let lines = store::stock_counts::lines(&mut tx, project.id, &[id]).await?;
    let waiting: Vec<_> = lines.iter().filter(|line| line.status == "waiting").collect();
    if waiting.is_empty() {
        let detail = "nothing of this count waits to be approved".to_owned();
        return Err(AppError::Conflict { code: "NOTHING_WAITS", detail });
    }
    let of = (id, count.location.as_str(), count.counted_at);
    // What has been booked since for the time before the count has changed what the book said then.
    let lots: Vec<String> = waiting.iter().map(|line| line.lot.clone()).collect();
    let (place, at) = (count.location.as_str(), count.counted_at);
    let since = store::stock_balances::changes_since(&mut tx, project.id, place, &lots, at).await?;
    let since: BTreeMap<String, Decimal> = since.into_iter().collect();
    let book = |lot: &str| {
        let now_there = held.get(&(place.to_owned(), lot.to_owned())).copied();
        now_there.unwrap_or_default() - since.get(lot).copied().unwrap_or_default()
    };
    let movements: Vec<_> = waiting
        .iter()
        .filter_map(|line| adjustment(of, &line.lot, line.counted - book(&line.lot), now))
        .collect();
    let stamp = Stamp { project: project.id, by: Some(actor.user), now };
    post(&mut tx, stamp, &movements).await?;
    store::stock_counts::approve(&mut tx, project.id, id, (actor.user, now)).await?;
    let lines = store::stock_counts::lines(&mut tx, project.id, &[id]).await?;
    app.commit(tx).await?;
    count.approved_by = Some(actor.user.0);
    count.approved_at = Some(now);
    Ok(view(count, lines, &setup))
}
