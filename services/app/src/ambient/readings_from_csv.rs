//! Readings as a gauge or a spreadsheet keeps them: a table, taken whole or not at all.

use chrono::{DateTime, SecondsFormat};
use domain::{ambient::NewReading, register::RowError, schema};
use serde::Serialize;
use serde_json::Value;
use utoipa::ToSchema;
use uuid::{Uuid, uuid};

use super::{
    record::write,
    table::{Columns, Row, at_row, refused, rows},
};
use crate::{Actor, App, AppError, projects::ProjectEntry};

const COLUMNS: Columns = Columns {
    texts: &["id", "spread", "location", "station", "read_at"],
    numbers: &["air_c", "relative_humidity_percent", "steel_c", "wind_m_s", "rain_mm"],
    required: &["read_at", "air_c"],
    most_rows: 10_000,
};

/// The name space of the ids that are made from place, station and time.
const NAMES: Uuid = uuid!("5f2b3d5e-6a3f-4b58-9a34-3f6f0e1c7d21");

/// What became of a table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[schema(as = AmbientTableRecorded)]
pub struct TableRecorded {
    /// Readings that are new.
    pub recorded: usize,
    /// Readings that were stored already.
    pub repeated: usize,
}

/// Records the readings of a table: all of them, or, with every fault named, none.
///
/// A row without an `id` gets the UUID of version 5 of its place, station and time, so that the
/// same table twice has one effect.
pub async fn record_table(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    table: &[u8],
) -> Result<TableRecorded, AppError> {
    let rows = rows(table, COLUMNS).map_err(refused)?;
    let (mut numbers, mut readings, mut faults) = (Vec::new(), Vec::new(), Vec::new());
    for Row { row, mut cells } in rows {
        if !cells.contains_key("id") {
            cells.insert("id".to_owned(), Value::String(named(&cells).to_string()));
        }
        match schema::read::<NewReading>(&Value::Object(cells)) {
            Ok(reading) => {
                numbers.push(row);
                readings.push(reading);
            }
            Err(found) => faults.extend(found.iter().map(|it| at_row(row, it))),
        }
    }
    if !faults.is_empty() {
        return Err(refused(faults));
    }
    let mut tx = app.begin_in(project.id).await?;
    let results = write(app, &mut tx, actor.user, project, readings).await?;
    let (mut recorded, mut repeated) = (0, 0);
    for (row, result) in numbers.into_iter().zip(results) {
        match result {
            Ok(false) => recorded += 1,
            Ok(true) => repeated += 1,
            Err(AppError::Invalid(found) | AppError::Unprocessable { faults: found, .. }) => {
                faults.extend(found.iter().map(|it| at_row(row, it)));
            }
            Err(AppError::Conflict { code, .. }) => {
                let detail = "another reading of this place, station and time is stored, with \
                              other values: supersede that one";
                faults.push(RowError::new(row, "id", code, detail));
            }
            Err(other) => return Err(other),
        }
    }
    if !faults.is_empty() {
        return Err(refused(faults));
    }
    app.commit(tx).await?;
    Ok(TableRecorded { recorded, repeated })
}

/// One id for one place, station and instant, however the instant is written.
fn named(cells: &serde_json::Map<String, Value>) -> Uuid {
    let text = |name: &str| cells.get(name).and_then(Value::as_str).unwrap_or_default();
    let at = text("read_at");
    let at = DateTime::parse_from_rfc3339(at).map_or_else(
        |_| at.to_owned(),
        |at| at.to_utc().to_rfc3339_opts(SecondsFormat::Micros, true),
    );
    let name = ["spread", "location", "station"].map(text);
    // No character of a text stands between two of them.
    let name = [&name[..], &[&at]].concat().join("\u{1f}");
    Uuid::new_v5(&NAMES, name.as_bytes())
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn an_instant_has_one_name_and_every_station_its_own() {
        let id = |station: &str, at: &str| {
            let cells = json!({ "spread": "A", "station": station, "read_at": at });
            named(cells.as_object().unwrap())
        };
        let first = id("mast", "2026-06-10T08:00:00+02:00");
        assert_eq!(first, id("mast", "2026-06-10T06:00:00Z"));
        assert_ne!(first, id("hand", "2026-06-10T06:00:00Z"));
        assert_ne!(first, id("mast", "2026-06-10T06:00:01Z"));
        assert_eq!(first.get_version_num(), 5);
    }
}
