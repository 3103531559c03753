//! Receives a delivery note: every row of a table, or none.

use std::{collections::BTreeMap, sync::Arc};

use chrono::{DateTime, NaiveDate, Utc};
use csv::StringRecord;
use domain::{
    access::Permission,
    ids::{DeliveryId, MovementId},
    register::{RowError, sniff_delimiter},
    schema::FieldError,
    setup::{Lot, ProjectSetup},
    stock::{MovementKind, NewMovement, Place, Quantity},
};

use super::{
    Recorded, Stamp, deliveries::receive_into, post::post, record_movement::put_lot,
    views::recorded,
};
use crate::{Actor, App, AppError, new_id, projects::ProjectEntry, retry::Attempts, setup};

/// The columns; those after the third may be left out.
const COLUMNS: [&str; 6] =
    ["lot", "material", "quantity", "produced_on", "expires_on", "delivery_id"];
const REQUIRED: usize = 3;

/// The most rows of a note.
const MOST_ROWS: usize = 5_000;

/// One row of a note.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NoteRow {
    /// The lot as the row describes it.
    pub lot: String,
    /// Code of its material.
    pub material: String,
    /// How much, base units.
    pub quantity: Quantity,
    /// Production date.
    pub produced_on: Option<NaiveDate>,
    /// Last day it may be used.
    pub expires_on: Option<NaiveDate>,
    /// The delivery it came with.
    pub delivery: Option<DeliveryId>,
}

/// Receives every row of `table` at `to`; with `validate_only` nothing is kept.
///
/// What happens is recorded as of now. Every fault is named by its row and column, and then no
/// row is received.
pub async fn receive_note(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    to: &str,
    table: &[u8],
    validate_only: bool,
) -> Result<Recorded, AppError> {
    project.require(Permission::MoveStock)?;
    let rows = read(table).map_err(AppError::InvalidRows)?;
    let mut attempts = Attempts::default();
    loop {
        match attempt(app, actor, project, to, &rows, validate_only).await {
            Err(AppError::Contended) if attempts.again().await => {}
            done => return done,
        }
    }
}

async fn attempt(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    to: &str,
    rows: &[(u64, NoteRow)],
    validate_only: bool,
) -> Result<Recorded, AppError> {
    let now = app.clock.now();
    let mut tx = app.begin_in(project.id).await?;
    let setup = setup::snapshot(app, &mut tx, project.id).await?;
    if !matches!(Place::find(to, &setup), Some(Place::Physical(_))) {
        let detail = format!("there is no location `{to}`");
        return Err(AppError::Invalid(vec![FieldError::new("/to", "UNKNOWN_REFERENCE", detail)]));
    }
    let faults = check(rows, &setup);
    if !faults.is_empty() {
        return Err(AppError::InvalidRows(faults));
    }
    let stamp = Stamp { project: project.id, by: Some(actor.user), now };
    let mut known = ProjectSetup::clone(&setup);
    for (row, note) in rows {
        let lot = lot_of(note);
        let put = put_lot(&mut tx, stamp, &known, &lot).await;
        if put.map_err(|error| at_row(*row, "lot", error))? {
            known.lots.insert(lot.code.clone(), lot);
        }
    }
    let known = Arc::new(known);
    let mut arrived = Vec::new();
    for (row, note) in rows {
        if let Some(id) = note.delivery {
            arrived.push((*row, (id, note.material.as_str(), note.quantity)));
        }
    }
    let each: Vec<_> = arrived.iter().map(|(_, it)| *it).collect();
    let first = arrived.first().map_or(0, |(row, _)| *row);
    let received = receive_into(&mut tx, stamp, &each).await;
    received.map_err(|error| at_row(first, "delivery_id", error))?;
    let movements: Vec<NewMovement> = rows.iter().map(|(_, it)| movement(it, to, now)).collect();
    let stored = post(&mut tx, stamp, &movements).await?;
    let answer = recorded(&mut tx, project.id, (stored, false), &known, now).await?;
    if !validate_only {
        app.commit(tx).await?;
    }
    Ok(answer)
}

fn lot_of(note: &NoteRow) -> Lot {
    Lot {
        code: note.lot.clone(),
        material: note.material.clone(),
        produced_on: note.produced_on,
        expires_on: note.expires_on,
        quarantines: Vec::new(),
        extensions: Vec::new(),
    }
}

fn movement(note: &NoteRow, to: &str, now: DateTime<Utc>) -> NewMovement {
    let id = MovementId(new_id(now));
    let what = (note.lot.as_str(), note.quantity);
    let movement = NewMovement::plain((id, MovementKind::Receive), what, ("supplier", to), now);
    NewMovement { delivery: note.delivery, ..movement }
}

/// A refusal that only the database could know of, at its row.
fn at_row(row: u64, column: &str, error: AppError) -> AppError {
    let (code, detail) = match &error {
        AppError::Conflict { code, detail } => (*code, detail.clone()),
        AppError::Invalid(faults) => match faults.first() {
            Some(fault) => (fault.code.as_str(), fault.detail.clone()),
            None => return error,
        },
        _ => return error,
    };
    AppError::InvalidRows(vec![RowError::new(row, column, code, detail)])
}

/// What the set-up says against the rows.
fn check(rows: &[(u64, NoteRow)], setup: &ProjectSetup) -> Vec<RowError> {
    let mut described: BTreeMap<&str, &NoteRow> = BTreeMap::new();
    let mut faults = Vec::new();
    for (row, note) in rows {
        if !setup.materials.contains_key(&note.material) {
            let detail = format!("there is no material `{}`", note.material);
            faults.push(RowError::new(*row, "material", "UNKNOWN_REFERENCE", detail));
        }
        if let (Some(made), Some(last)) = (note.produced_on, note.expires_on)
            && last < made
        {
            let detail = format!("must not be before produced_on, which is {made}");
            faults.push(RowError::new(*row, "expires_on", "OUT_OF_RANGE", detail));
        }
        let known = setup.lots.get(&note.lot);
        let differs = known.is_some_and(|lot| {
            lot.material != note.material
                || note.expires_on.is_some() && lot.expires_on != note.expires_on
                || note.produced_on.is_some() && lot.produced_on != note.produced_on
        });
        let before = described.entry(&note.lot).or_insert(note);
        let twice = before.material != note.material
            || before.expires_on != note.expires_on
            || before.produced_on != note.produced_on;
        if differs || known.is_none() && twice {
            let detail =
                format!("lot {} is described otherwise already: look at the label again", note.lot);
            faults.push(RowError::new(*row, "lot", "LOT_DIFFERS", detail));
        }
    }
    faults
}

/// Reads the table: a header line, then one lot a line.
fn read(table: &[u8]) -> Result<Vec<(u64, NoteRow)>, Vec<RowError>> {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(sniff_delimiter(table))
        .from_reader(table);
    let mut places = None;
    let (mut rows, mut faults) = (Vec::new(), Vec::new());
    for (record, row) in reader.records().zip(1_u64..) {
        let record = match record {
            Ok(record) => record,
            Err(error) => {
                faults.push(RowError::new(row, "", "UNREADABLE", error.to_string()));
                break;
            }
        };
        let Some(places) = &places else {
            places = Some(header(&record)?);
            continue;
        };
        if rows.len() >= MOST_ROWS {
            let detail = format!("a note has at most {MOST_ROWS} rows");
            faults.push(RowError::new(row, "", "TOO_MANY_ROWS", detail));
            break;
        }
        match line(row, &record, places) {
            Ok(note) => rows.push((row, note)),
            Err(wrong) => faults.extend(wrong),
        }
    }
    if rows.is_empty() && faults.is_empty() {
        faults.push(RowError::new(1, "", "EMPTY", "there is no row to receive"));
    }
    if faults.is_empty() { Ok(rows) } else { Err(faults) }
}

/// Where each of [`COLUMNS`] stands.
fn header(record: &StringRecord) -> Result<[Option<usize>; 6], Vec<RowError>> {
    let mut places = [None; 6];
    let mut faults = Vec::new();
    for (place, text) in record.iter().enumerate() {
        // Spreadsheets put a byte order mark before the first name.
        let name = text.trim_start_matches('\u{feff}').trim().to_lowercase().replace(' ', "_");
        match COLUMNS.iter().zip(&mut places).find(|(column, _)| **column == name) {
            None => {
                let detail = format!("`{text}` is no column here; known: {}", COLUMNS.join(", "));
                faults.push(RowError::new(1, text, "UNKNOWN_COLUMN", detail));
            }
            Some((_, Some(_))) => {
                let detail = format!("`{name}` is there already; keep one");
                faults.push(RowError::new(1, &name, "DUPLICATE_COLUMN", detail));
            }
            Some((_, free)) => *free = Some(place),
        }
    }
    for (column, place) in COLUMNS.iter().zip(&places).take(REQUIRED) {
        if place.is_none() {
            let detail = format!("the column `{column}` is missing");
            faults.push(RowError::new(1, column, "MISSING_COLUMN", detail));
        }
    }
    if faults.is_empty() { Ok(places) } else { Err(faults) }
}

fn line(
    row: u64,
    record: &StringRecord,
    places: &[Option<usize>; 6],
) -> Result<NoteRow, Vec<RowError>> {
    let mut faults = Vec::new();
    let [lot, material, quantity, produced_on, expires_on, delivery] = *places;
    let cell = |place: Option<usize>| {
        place.and_then(|place| record.get(place)).map(str::trim).filter(|it| !it.is_empty())
    };
    let mut fault = |column: &str, code: &str, detail: String| {
        faults.push(RowError::new(row, column, code, detail));
    };
    for (column, place, longest) in [("lot", lot, 60), ("material", material, 40)] {
        match cell(place) {
            None => fault(column, "REQUIRED", format!("`{column}` is empty")),
            Some(text) if text.chars().count() > longest => {
                let detail = format!("must have at most {longest} characters");
                fault(column, "TOO_LONG", detail);
            }
            Some(text) if text.contains('\0') => {
                let detail = "the character U+0000 cannot be kept: leave it out";
                fault(column, "WRONG_CHARACTER", detail.to_owned());
            }
            Some(_) => {}
        }
    }
    let amount = match cell(quantity) {
        None => {
            fault("quantity", "REQUIRED", "`quantity` is empty".to_owned());
            None
        }
        Some(text) => match text.parse().ok().map(Quantity::new) {
            Some(Ok(amount)) => Some(amount),
            Some(Err(why)) => {
                fault("quantity", "OUT_OF_RANGE", why.to_string());
                None
            }
            None => {
                let hint = if text.contains(',') { "; write a decimal point" } else { "" };
                fault("quantity", "WRONG_TYPE", format!("`{text}` is no number{hint}"));
                None
            }
        },
    };
    let mut day = |column: &str, place| {
        let text = cell(place)?;
        let read = text.parse::<NaiveDate>().ok();
        if read.is_none() {
            fault(column, "WRONG_TYPE", format!("`{text}` is no date such as 2027-01-31"));
        }
        read
    };
    let (produced_on, expires_on) =
        (day("produced_on", produced_on), day("expires_on", expires_on));
    let delivery = cell(delivery).and_then(|text| {
        let read = text.parse::<DeliveryId>().ok();
        if read.is_none() {
            fault("delivery_id", "WRONG_TYPE", format!("`{text}` is no id of a delivery"));
        }
        read
    });
    match (cell(lot), cell(material), amount) {
        (Some(lot), Some(material), Some(quantity)) if faults.is_empty() => Ok(NoteRow {
            lot: lot.to_owned(),
            material: material.to_owned(),
            quantity,
            produced_on,
            expires_on,
            delivery,
        }),
        _ => Err(faults),
    }
}
