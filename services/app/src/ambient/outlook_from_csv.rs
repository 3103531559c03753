//! An outlook as a table of its hours.

use chrono::{DateTime, SecondsFormat, Utc};
use domain::{
    ambient::NewOutlook,
    schema::{self, FieldError},
};
use serde_json::{Value, json};
use uuid::{Uuid, uuid};

use super::table::{Columns, at_row, refused, rows};
use crate::AppError;

const COLUMNS: Columns = Columns {
    texts: &["at"],
    numbers: &["air_c", "relative_humidity_percent", "wind_m_s", "rain_mm"],
    required: &["at", "air_c", "relative_humidity_percent"],
    most_rows: 384,
};

/// The name space of the ids that are made from spread, source and issue.
const NAMES: Uuid = uuid!("0d0f5a51-7f0e-4a43-8f1c-64a9a5a0b8e6");

/// Whose outlook a table is.
#[derive(Debug, Clone)]
pub struct IssueOfTable {
    /// Id; made from the others if absent, so that the same table twice has one effect.
    pub id: Option<Uuid>,
    /// Code of the spread.
    pub spread: String,
    /// When it was issued.
    pub issued_at: DateTime<Utc>,
    /// Who issued it.
    pub source: Option<String>,
}

/// Reads a table, or names every fault with its row and column.
pub fn outlook_from_csv(table: &[u8], issue: IssueOfTable) -> Result<NewOutlook, AppError> {
    let rows = rows(table, COLUMNS).map_err(refused)?;
    let numbers: Vec<u64> = rows.iter().map(|it| it.row).collect();
    let hours: Vec<Value> = rows.into_iter().map(|it| it.cells.into()).collect();
    let IssueOfTable { id, spread, issued_at, source } = issue;
    let id = id.unwrap_or_else(|| named(&spread, source.as_deref(), issued_at));
    let mut whole = json!({ "id": id, "spread": spread, "issued_at": issued_at, "hours": hours });
    if let Some(source) = source {
        whole["source"] = source.into();
    }
    schema::read::<NewOutlook>(&whole).map_err(|faults| by_row(&faults, &numbers))
}

/// Faults of the hours by their rows; those of what stands beside the table as they are.
fn by_row(faults: &[FieldError], numbers: &[u64]) -> AppError {
    let (mut rows, mut others) = (Vec::new(), Vec::new());
    for fault in faults {
        let mut path = fault.pointer.trim_start_matches("#/hours/").splitn(2, '/');
        let index = path.next().and_then(|it| it.parse::<usize>().ok());
        match (index.and_then(|it| numbers.get(it)), path.next()) {
            (Some(row), Some(column)) => {
                let pointer = format!("/{column}");
                rows.push(at_row(*row, &FieldError::new(&pointer, &fault.code, &fault.detail)));
            }
            _ => others.push(fault.clone()),
        }
    }
    if others.is_empty() { refused(rows) } else { AppError::Invalid(others) }
}

fn named(spread: &str, source: Option<&str>, issued_at: DateTime<Utc>) -> Uuid {
    let at = issued_at.to_rfc3339_opts(SecondsFormat::Micros, true);
    let name = [spread, source.unwrap_or_default(), &at].join("\u{1f}");
    Uuid::new_v5(&NAMES, name.as_bytes())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(table: &str) -> Result<NewOutlook, AppError> {
        let issued_at = "2026-06-10T06:00:00Z".parse().unwrap();
        let issue = IssueOfTable { id: None, spread: "A".to_owned(), issued_at, source: None };
        outlook_from_csv(table.as_bytes(), issue)
    }

    #[test]
    fn a_table_is_read_with_what_stands_beside_it() {
        let table = "at;air_c;relative_humidity_percent;rain_mm\n\
                     2026-06-10T07:00:00Z;4.5;90;0.2\n2026-06-10T10:00:00+02:00;5.5;85;\n";
        let read = check(table).unwrap();
        assert_eq!(read.id, check(table).unwrap().id);
        let rain: Vec<Option<f64>> = read.hours.iter().map(|hour| hour.rain_mm).collect();
        assert_eq!(rain, [Some(0.2), None]);
        assert_eq!(read.hours[1].at.to_rfc3339(), "2026-06-10T08:00:00+00:00");
    }

    #[test]
    fn a_fault_has_its_row_and_column() {
        let table = "at,air_c,relative_humidity_percent\n\
                     2026-06-10T07:00:00Z,4.5,0\n2026-06-10T08:00:00Z,,85\n";
        let Err(AppError::InvalidRows(faults)) = check(table) else { panic!("not refused") };
        let found: Vec<_> = faults.iter().map(|it| (it.row, it.column.as_str())).collect();
        assert_eq!(found, [(2, "relative_humidity_percent"), (3, "air_c")]);
        let table = "at,air_c,relative_humidity_percent\n\
                     2026-06-10T07:00:00Z,4.5,80\n2026-06-10T07:00:00Z,4.5,85\n";
        let Err(AppError::InvalidRows(faults)) = check(table) else { panic!("not refused") };
        assert_eq!((faults[0].row, faults[0].code.as_str()), (3, "OUT_OF_ORDER"));
    }
}
