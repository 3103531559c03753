//! What was counted, against the book.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use domain::{
    access::Permission,
    ids::{CountId, MovementId, UserId},
    schema::FieldError,
    setup::ProjectSetup,
    stock::{CountedLine, MovementKind, NewMovement, Place, Quantity, Verdict, number, variance},
};
use rust_decimal::Decimal;
use serde::Serialize;
use serde_json::Value;
use store::stock_counts::{StoredCount, StoredLine};
use utoipa::ToSchema;

use super::{Stamp, lock_balances, post::post, record_movement::from_the_future, views::id_reused};
use crate::{Actor, App, AppError, new_id, projects::ProjectEntry, retry::Attempts, setup};

/// What was found of one lot.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CountedLot {
    /// Code of the lot.
    pub lot: String,
    /// How much, base units; 0 if nothing was there.
    pub quantity: Decimal,
}

/// A count to record.
#[derive(Debug, Clone)]
pub struct CountAsk {
    /// Id.
    pub id: CountId,
    /// Code of the place.
    pub location: String,
    /// When it was counted.
    pub counted_at: DateTime<Utc>,
    /// What was found; lots that are not named were not counted.
    pub lines: Vec<CountedLot>,
    /// What was sent: the same again is the same count.
    pub asked: Value,
}

/// A line of a count as it is shown.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct CountLineView {
    /// Code of the lot.
    pub lot: String,
    /// What was found, base units.
    pub counted: f64,
    /// What the book said when it was counted.
    pub book: f64,
    /// Counted less book.
    pub variance: f64,
    /// The largest variance that is put right at once: 2 % of the book or one base unit,
    /// whichever is more (common practice, no source).
    pub threshold: f64,
    /// The base unit: m, L, kg or piece.
    pub unit: Option<&'static str>,
    /// `matches`, `adjusted`, `waiting` for somebody else, `approved`, or `superseded` by a later
    /// count of the same lot.
    pub status: String,
}

/// A count as it is shown.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct CountView {
    /// Id.
    pub id: CountId,
    /// Code of the place.
    pub location: String,
    /// When it was counted.
    pub counted_at: DateTime<Utc>,
    /// By whom.
    pub counted_by: UserId,
    /// When it was recorded.
    pub recorded_at: DateTime<Utc>,
    /// `waiting` if a line waits, else `settled`.
    pub status: &'static str,
    /// Who approved what waited.
    pub approved_by: Option<UserId>,
    /// When.
    pub approved_at: Option<DateTime<Utc>>,
    /// Its lines, by lot.
    pub lines: Vec<CountLineView>,
}

/// Records a count; true if the same was recorded already.
///
/// Small differences are put right at once, large ones wait until somebody else approves.
pub async fn record_count(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    ask: &CountAsk,
) -> Result<(CountView, bool), AppError> {
    project.require(Permission::MoveStock)?;
    let mut attempts = Attempts::default();
    loop {
        match attempt(app, actor, project, ask).await {
            Err(AppError::Contended) if attempts.again().await => {}
            done => return done,
        }
    }
}

async fn attempt(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    ask: &CountAsk,
) -> Result<(CountView, bool), AppError> {
    let now = app.clock.now();
    let mut tx = app.begin_in(project.id).await?;
    let setup = setup::snapshot(app, &mut tx, project.id).await?;
    if let Some(there) = store::stock_counts::lock(&mut tx, project.id, ask.id).await? {
        if there.asked != ask.asked {
            return Err(id_reused("count"));
        }
        let lines = store::stock_counts::lines(&mut tx, project.id, &[ask.id]).await?;
        return Ok((view(there, lines, &setup), true));
    }
    let faults = faults(ask, &setup, now);
    if !faults.is_empty() {
        return Err(AppError::Invalid(faults));
    }
    let lots: Vec<String> = ask.lines.iter().map(|it| it.lot.clone()).collect();
    let pairs = lots
        .iter()
        .flat_map(|lot| ["adjustment", &ask.location].map(|place| (place.to_owned(), lot.clone())));
    let held = lock_balances(&mut tx, pairs).await?;
    let (at, place) = (ask.counted_at, ask.location.as_str());
    let since = store::stock_balances::changes_since(&mut tx, project.id, place, &lots, at).await?;
    let since: BTreeMap<String, Decimal> = since.into_iter().collect();
    let later = store::stock_counts::counted_after(&mut tx, project.id, place, &lots, at).await?;
    let (mut lines, mut movements) = (Vec::new(), Vec::new());
    for CountedLot { lot, quantity } in &ask.lines {
        let key = (ask.location.clone(), lot.clone());
        let now_there = held.get(&key).copied().unwrap_or_default();
        let book = now_there - since.get(lot).copied().unwrap_or_default();
        let line = CountedLine { lot: lot.clone(), counted: *quantity, book, now: now_there };
        let judged = variance(&line);
        let status = match judged.verdict {
            Verdict::Matches => "matches",
            // Its difference is in what was found later.
            _ if later.contains(lot) => "superseded",
            Verdict::Wait => "waiting",
            Verdict::Adjust => {
                movements.extend(adjustment((ask.id, place, at), lot, judged.difference, now));
                "adjusted"
            }
        };
        lines.push(StoredLine {
            count_id: ask.id.0,
            lot: lot.clone(),
            counted: *quantity,
            book,
            threshold: judged.threshold,
            status: status.to_owned(),
        });
    }
    store::stock_counts::supersede(&mut tx, project.id, place, &lots, at).await?;
    let count = StoredCount {
        id: ask.id,
        location: ask.location.clone(),
        counted_at: ask.counted_at,
        counted_by: actor.user,
        recorded_at: now,
        asked: ask.asked.clone(),
        approved_by: None,
        approved_at: None,
    };
    let done = store::stock_counts::insert(&mut tx, project.id, &count, &lines).await;
    done.map_err(|error| match error.constraint() {
        Some("stock_counts_key") => AppError::Contended,
        _ => error.into(),
    })?;
    let stamp = Stamp { project: project.id, by: Some(actor.user), now };
    post(&mut tx, stamp, &movements).await?;
    app.commit(tx).await?;
    lines.sort_by(|one, other| one.lot.cmp(&other.lot));
    Ok((view(count, lines, &setup), false))
}

fn faults(ask: &CountAsk, setup: &ProjectSetup, now: DateTime<Utc>) -> Vec<FieldError> {
    let mut faults = Vec::new();
    if !matches!(Place::find(&ask.location, setup), Some(Place::Physical(_))) {
        let detail = format!("there is no location `{}`", ask.location);
        faults.push(FieldError::new("/location", "UNKNOWN_REFERENCE", detail));
    }
    if from_the_future(ask.counted_at, now).is_some() {
        let detail = "is in the future";
        faults.push(FieldError::new("/counted_at", "OUT_OF_RANGE", detail));
    }
    for (index, line) in ask.lines.iter().enumerate() {
        let pointer = format!("/lines/{index}/lot");
        if !setup.lots.contains_key(&line.lot) {
            let detail = format!("there is no lot `{}`", line.lot);
            faults.push(FieldError::new(&pointer, "UNKNOWN_REFERENCE", detail));
        }
        if ask.lines.iter().take(index).any(|before| before.lot == line.lot) {
            let detail = format!("lot {} is in the list already: add up what was found", line.lot);
            faults.push(FieldError::new(&pointer, "DUPLICATE", detail));
        }
    }
    faults
}

/// The movement that puts the book right.
pub(super) fn adjustment(
    (count, location, at): (CountId, &str, DateTime<Utc>),
    lot: &str,
    difference: Decimal,
    now: DateTime<Utc>,
) -> Option<NewMovement> {
    let quantity = Quantity::new(difference.abs()).ok()?;
    let more = difference > Decimal::ZERO;
    let places = if more { ("adjustment", location) } else { (location, "adjustment") };
    let id = MovementId(new_id(now));
    let movement = NewMovement::plain((id, MovementKind::Count), (lot, quantity), places, at);
    Some(NewMovement { count: Some(count), ..movement })
}

/// At most `limit` counts, the newest recorded first.
pub async fn counts(
    app: &App,
    project: &ProjectEntry,
    location: Option<&str>,
    before: Option<(DateTime<Utc>, CountId)>,
    limit: i64,
) -> Result<Vec<CountView>, AppError> {
    let mut tx = app.begin_in(project.id).await?;
    let setup = setup::snapshot(app, &mut tx, project.id).await?;
    let found = store::stock_counts::list(&mut tx, project.id, location, before, limit).await?;
    let ids: Vec<CountId> = found.iter().map(|it| it.id).collect();
    let mut lines: BTreeMap<uuid::Uuid, Vec<StoredLine>> = BTreeMap::new();
    for line in store::stock_counts::lines(&mut tx, project.id, &ids).await? {
        lines.entry(line.count_id).or_default().push(line);
    }
    let views = found.into_iter().map(|count| {
        let lines = lines.remove(&count.id.0).unwrap_or_default();
        view(count, lines, &setup)
    });
    Ok(views.collect())
}

pub(super) fn view(count: StoredCount, lines: Vec<StoredLine>, setup: &ProjectSetup) -> CountView {
    let waits = lines.iter().any(|line| line.status == "waiting");
    let lines = lines.into_iter().map(|line| {
        let material = setup.lots.get(&line.lot).and_then(|it| setup.materials.get(&it.material));
        CountLineView {
            counted: number(line.counted),
            book: number(line.book),
            variance: number(line.counted - line.book),
            threshold: number(line.threshold),
            unit: material.map(|it| it.unit().symbol()),
            status: line.status,
            lot: line.lot,
        }
    });
    CountView {
        id: count.id,
        location: count.location,
        counted_at: count.counted_at,
        counted_by: count.counted_by,
        recorded_at: count.recorded_at,
        status: if waits { "waiting" } else { "settled" },
        approved_by: count.approved_by.map(UserId),
        approved_at: count.approved_at,
        lines: lines.collect(),
    }
}
