//! Records readings of the weather, one or many, in any order and of any age.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use chrono::{DateTime, TimeDelta, Utc};
use domain::{
    access::Permission,
    ambient::{NewReading, Place},
    ids::{ProjectId, UserId},
    joints::fact::CLOCK_TOLERANCE,
    schema::{self, FieldError},
    setup::ProjectSetup,
};
use serde_json::{Value, json};
use store::{Tx, ambient::readings::StoredReading};
use uuid::Uuid;

use super::{ReadingView, follow_later};
use crate::{Actor, App, AppError, jobs::ambient_check_soon, projects::ProjectEntry, setup};

/// A reading as it is stored, and whether it was before.
#[derive(Debug, Clone)]
pub struct Recorded {
    /// The reading.
    pub view: ReadingView,
    /// It was stored already.
    pub repeated: bool,
}

/// What became of one item of a batch.
#[derive(Debug)]
pub struct ItemAnswer {
    /// Its place in the batch.
    pub index: usize,
    /// Its id, where one could be read.
    pub id: Option<Uuid>,
    /// Whether it was stored before, or why it was not stored.
    pub result: Result<bool, AppError>,
}

/// Records one reading.
pub async fn record(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    reading: NewReading,
) -> Result<Recorded, AppError> {
    let id = reading.id;
    let mut tx = app.begin_in(project.id).await?;
    let mut results = write(app, &mut tx, actor.user, project, vec![reading]).await?;
    let repeated = results.pop().unwrap_or_else(|| Err(without_outcome()))?;
    let found = store::ambient::readings::find(&mut tx, project.id, &[id]).await?;
    let view = found.into_iter().next().map(ReadingView::from).ok_or_else(without_outcome)?;
    app.commit(tx).await?;
    Ok(Recorded { view, repeated })
}

/// Records many, each on its own: one bad item never loses a good one.
pub async fn record_batch(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    items: &[Value],
) -> Result<Vec<ItemAnswer>, AppError> {
    let mut answers = BTreeMap::new();
    let (mut places, mut readings) = (Vec::new(), Vec::new());
    for (index, item) in items.iter().enumerate() {
        match schema::read::<NewReading>(item) {
            Ok(reading) => {
                places.push(index);
                readings.push(reading);
            }
            Err(faults) => {
                let id = item.get("id").and_then(Value::as_str).and_then(|it| it.parse().ok());
                let result = Err(AppError::Invalid(faults));
                answers.insert(index, ItemAnswer { index, id, result });
            }
        }
    }
    let ids: Vec<Uuid> = readings.iter().map(|it| it.id).collect();
    let mut tx = app.begin_in(project.id).await?;
    let results = write(app, &mut tx, actor.user, project, readings).await?;
    app.commit(tx).await?;
    for ((index, id), result) in places.into_iter().zip(ids).zip(results) {
        answers.insert(index, ItemAnswer { index, id: Some(id), result });
    }
    Ok(answers.into_values().collect())
}

/// The one way by which readings come into the log. The answer to each says whether it was stored
/// already; the caller commits.
///
/// What was stored before is answered so whatever has become of its place since.
pub(super) async fn write(
    app: &App,
    tx: &mut Tx,
    by: UserId,
    project: &ProjectEntry,
    readings: Vec<NewReading>,
) -> Result<Vec<Result<bool, AppError>>, AppError> {
    let now = app.clock.now();
    let setup = setup::snapshot_at(app, tx, project.id, project.setup_version).await?;
    let readings: Vec<NewReading> = readings.into_iter().map(NewReading::as_kept).collect();
    let named = readings.iter().filter_map(|it| it.supersedes);
    let named: Vec<Uuid> = named.chain(readings.iter().map(|it| it.id)).collect();
    let known = by_id(store::ambient::readings::find(tx, project.id, &named).await?);
    let sent: HashMap<Uuid, Place> = readings.iter().map(|it| (it.id, it.place())).collect();
    let mut refused: HashMap<usize, AppError> = HashMap::new();
    let mut added = Vec::new();
    for (index, reading) in readings.iter().enumerate() {
        let names = reading.supersedes;
        let of = names.and_then(|id| {
            known.get(&id).map(|it| it.reading.place()).or_else(|| sent.get(&id).cloned())
        });
        let checked = may(project, reading).and_then(|()| {
            // What is stored already is answered below.
            if known.contains_key(&reading.id) { Ok(()) } else { fits(reading, &setup, of, now) }
        });
        match checked {
            Ok(()) => added.push(reading.clone()),
            Err(error) => drop(refused.insert(index, error)),
        }
    }
    let new = store::ambient::readings::append(tx, project.id, (by, now), &added).await?;
    let mut new: BTreeSet<Uuid> = new.into_iter().collect();
    let of_new: Vec<&NewReading> = added.iter().filter(|it| new.contains(&it.id)).collect();
    note(tx, project.id, now, &of_new).await?;
    follow(tx, project.id, now, &of_new, &known).await?;
    let ids: Vec<Uuid> = added.iter().map(|it| it.id).collect();
    let stored = by_id(store::ambient::readings::find(tx, project.id, &ids).await?);
    let results = readings.iter().enumerate().map(|(index, reading)| {
        if let Some(error) = refused.remove(&index) {
            return Err(error);
        }
        let kept = stored.get(&reading.id).ok_or_else(without_outcome)?;
        if kept.reading != *reading {
            return Err(id_reused());
        }
        Ok(!new.remove(&reading.id))
    });
    Ok(results.collect())
}

fn by_id(found: Vec<StoredReading>) -> HashMap<Uuid, StoredReading> {
    found.into_iter().map(|it| (it.reading.id, it)).collect()
}

/// A correction takes more than recording: it can open a gate that a reading has shut.
fn may(project: &ProjectEntry, reading: &NewReading) -> Result<(), AppError> {
    let (first, or) = match (reading.place(), reading.supersedes) {
        (Place::Spread(_), None) => (Permission::RecordFacts, None),
        (Place::Location(_), None) => (Permission::RecordFacts, Some(Permission::MoveStock)),
        (Place::Spread(_), Some(_)) => (Permission::SupersedeFacts, None),
        (Place::Location(_), Some(_)) => {
            (Permission::SupersedeFacts, Some(Permission::ManageMaterials))
        }
    };
    match or {
        Some(or) => project.require(or).or_else(|_| project.require(first)),
        None => project.require(first),
    }
}

/// Refuses what cannot be: a place that nobody knows, a correction of another place's entry, a
/// reading that is still to come. `superseded_at` is the place of the entry that it names, where
/// that has arrived.
fn fits(
    reading: &NewReading,
    setup: &ProjectSetup,
    superseded_at: Option<Place>,
    now: DateTime<Utc>,
) -> Result<(), AppError> {
    let place = reading.place();
    let mut faults = Vec::new();
    let is_known = match &place {
        Place::Spread(code) => setup.spreads.contains_key(code),
        Place::Location(code) => setup.locations.contains_key(code),
    };
    if !is_known {
        let detail = format!("there is no {} `{}`", place.kind(), place.code());
        let pointer = format!("/{}", place.kind());
        faults.push(FieldError::new(&pointer, "UNKNOWN_REFERENCE", detail));
    }
    if let Some(other) = superseded_at.filter(|other| *other != place) {
        let detail = format!(
            "that entry was read at {} `{}`: an entry takes the place of one of its own place",
            other.kind(),
            other.code()
        );
        faults.push(FieldError::new("/supersedes", "OTHER_PLACE", detail));
    }
    if !faults.is_empty() {
        return Err(AppError::Invalid(faults));
    }
    ahead_of_clock("read_at", reading.read_at, now).map_or(Ok(()), Err)
}

/// The refusal of a time that has not come yet.
pub(super) fn ahead_of_clock(
    field: &str,
    at: DateTime<Utc>,
    now: DateTime<Utc>,
) -> Option<AppError> {
    let latest = now + CLOCK_TOLERANCE;
    if at <= latest {
        return None;
    }
    let told = |at: DateTime<Utc>| at.to_rfc3339_opts(chrono::SecondsFormat::Secs, true);
    let detail = format!(
        "`{field}` is {}, and here it is {}: set the clock of the device right; up to {} would do",
        told(at),
        told(now),
        told(latest)
    );
    let faults = vec![FieldError::new(&format!("/{field}"), "OUT_OF_RANGE", detail.clone())];
    Some(AppError::Unprocessable { code: "AHEAD_OF_CLOCK", detail, faults })
}

/// One entry of the feed for each place that something was recorded at.
async fn note(
    tx: &mut Tx,
    project: ProjectId,
    now: DateTime<Utc>,
    new: &[&NewReading],
) -> Result<(), AppError> {
    let mut places: BTreeMap<Place, Vec<DateTime<Utc>>> = BTreeMap::new();
    for reading in new {
        places.entry(reading.place()).or_default().push(reading.read_at);
    }
    for (place, read) in places {
        let told = json!({
            place.kind(): place.code(), "count": read.len(), "from": read.iter().min(),
            "to": read.iter().max(),
        });
        let topic = ("ambient_readings.recorded", place.code());
        store::feed::note(tx, project, topic, &told, now).await?;
    }
    Ok(())
}

/// Asks for everything to be judged again that the new readings, or the `known` ones that they
/// take the place of, can speak for.
async fn follow(
    tx: &mut Tx,
    project: ProjectId,
    now: DateTime<Utc>,
    new: &[&NewReading],
    known: &HashMap<Uuid, StoredReading>,
) -> Result<(), AppError> {
    let mut times: BTreeMap<&str, BTreeSet<DateTime<Utc>>> = BTreeMap::new();
    for reading in new {
        let Some(spread) = reading.spread.as_deref() else { continue };
        let before = reading.supersedes.and_then(|id| known.get(&id));
        let before = before.map(|it| it.reading.read_at);
        times.entry(spread).or_default().extend(before.into_iter().chain([reading.read_at]));
    }
    for (spread, times) in times {
        for span in spans(&times) {
            follow_later(tx, project, spread, span, now).await?;
        }
    }
    if !new.is_empty() {
        ambient_check_soon(tx, project, now).await?;
    }
    Ok(())
}

/// Times further apart than this are looked at on their own: a year that was typed wrongly must not
/// make everybody look at a year.
const APART: TimeDelta = TimeDelta::hours(12);

fn spans(times: &BTreeSet<DateTime<Utc>>) -> Vec<(DateTime<Utc>, DateTime<Utc>)> {
    let mut spans: Vec<(DateTime<Utc>, DateTime<Utc>)> = Vec::new();
    for at in times {
        match spans.last_mut().filter(|(_, to)| *at - *to <= APART) {
            Some((_, to)) => *to = *at,
            None => spans.push((*at, *at)),
        }
    }
    spans
}

fn id_reused() -> AppError {
    AppError::Conflict {
        code: "ID_REUSED",
        detail: "another reading has this id: make a new one for new content".to_owned(),
    }
}

fn without_outcome() -> AppError {
    AppError::Internal("a reading without an outcome".to_owned())
}
