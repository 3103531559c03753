//! A table of values as gauges and forecasts send it: CSV with one header line.

use domain::{
    register::{RowError, sniff_delimiter},
    schema::FieldError,
};
use serde_json::{Map, Number, Value};

use crate::AppError;

/// Most faults named in one answer.
const MOST_FAULTS: usize = 1000;

/// What a table may hold.
#[derive(Debug, Clone, Copy)]
pub(super) struct Columns {
    /// Columns that hold numbers.
    pub numbers: &'static [&'static str],
    /// Columns that hold texts and times.
    pub texts: &'static [&'static str],
    /// Of both, those that must be there.
    pub required: &'static [&'static str],
    /// Most rows.
    pub most_rows: usize,
}

impl Columns {
    fn known(&self) -> impl Iterator<Item = &'static str> {
        self.texts.iter().chain(self.numbers).copied()
    }
}

/// One row as a JSON object of its cells, empty ones left out.
#[derive(Debug)]
pub(super) struct Row {
    /// Line of the table; 1 is the header.
    pub row: u64,
    /// The cells by column.
    pub cells: Map<String, Value>,
}

/// Reads `bytes`, or names every fault with its row and column.
pub(super) fn rows(bytes: &[u8], columns: Columns) -> Result<Vec<Row>, Vec<RowError>> {
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(sniff_delimiter(bytes))
        .flexible(true)
        .trim(csv::Trim::All)
        .from_reader(bytes);
    let unreadable =
        |row: u64, error: &csv::Error| RowError::new(row, "", "UNREADABLE", error.to_string());
    let header = reader.headers().map_err(|error| vec![unreadable(1, &error)])?.clone();
    check_header(&header, columns)?;
    let (mut rows, mut faults) = (Vec::new(), Vec::new());
    for (index, record) in reader.records().enumerate() {
        let line = |record: &csv::StringRecord| record.position().map(csv::Position::line);
        let row = match &record {
            Ok(record) => line(record),
            Err(error) => error.position().map(csv::Position::line),
        };
        let row = row.unwrap_or_else(|| u64::try_from(index).unwrap_or(u64::MAX).saturating_add(2));
        if index >= columns.most_rows {
            let detail = format!("at most {} rows are read at once", columns.most_rows);
            faults.push(RowError::new(row, "", "TOO_MANY_ROWS", detail));
            break;
        }
        match record.map_err(|error| vec![unreadable(row, &error)]) {
            Ok(record) => match cells(row, &header, &record, columns) {
                Ok(cells) => rows.push(Row { row, cells }),
                Err(found) => faults.extend(found),
            },
            Err(found) => faults.extend(found),
        }
        if faults.len() > MOST_FAULTS {
            break;
        }
    }
    if rows.is_empty() && faults.is_empty() {
        faults.push(RowError::new(1, "", "EMPTY_FILE", "there is no row under the header"));
    }
    if faults.is_empty() { Ok(rows) } else { Err(faults) }
}

fn check_header(header: &csv::StringRecord, columns: Columns) -> Result<(), Vec<RowError>> {
    let mut faults = Vec::new();
    for (place, name) in header.iter().enumerate() {
        if !columns.known().any(|known| known == name) {
            let known: Vec<&str> = columns.known().collect();
            let detail = format!("the columns are {}", known.join(", "));
            faults.push(RowError::new(1, name, "UNKNOWN_COLUMN", detail));
        } else if header.iter().take(place).any(|earlier| earlier == name) {
            faults.push(RowError::new(1, name, "DUPLICATE_COLUMN", "it is there already"));
        }
    }
    for name in columns.required.iter().filter(|name| !header.iter().any(|it| it == **name)) {
        faults.push(RowError::new(1, name, "MISSING_COLUMN", "this column is missing"));
    }
    if faults.is_empty() { Ok(()) } else { Err(faults) }
}

fn cells(
    row: u64,
    header: &csv::StringRecord,
    record: &csv::StringRecord,
    columns: Columns,
) -> Result<Map<String, Value>, Vec<RowError>> {
    if record.len() != header.len() {
        let detail = format!(
            "{} cells under {} columns; is there a decimal comma? write 12.5 with a point",
            record.len(),
            header.len()
        );
        return Err(vec![RowError::new(row, "", "WRONG_LENGTH", detail)]);
    }
    let (mut cells, mut faults) = (Map::new(), Vec::new());
    for (name, text) in header.iter().zip(record).filter(|(_, text)| !text.is_empty()) {
        let value = if columns.numbers.contains(&name) {
            number(text).map(Value::Number)
        } else {
            Ok(Value::String(text.to_owned()))
        };
        match value {
            Ok(value) => drop(cells.insert(name.to_owned(), value)),
            Err(detail) => faults.push(RowError::new(row, name, "WRONG_TYPE", detail)),
        }
    }
    if faults.is_empty() { Ok(cells) } else { Err(faults) }
}

fn number(text: &str) -> Result<Number, String> {
    let read = text.parse::<f64>().ok().and_then(Number::from_f64);
    read.ok_or_else(|| {
        let pointed = text.replacen(',', ".", 1);
        if text.contains(',') && pointed.parse::<f64>().is_ok() {
            format!("`{text}` has a decimal comma: write {pointed}")
        } else {
            format!("`{text}` is no number such as 12.5")
        }
    })
}

/// A fault of what stands in line `row`, by its column.
pub(super) fn at_row(row: u64, fault: &FieldError) -> RowError {
    let column = fault.pointer.trim_start_matches("#/");
    RowError::new(row, column, &fault.code, fault.detail.clone())
}

/// What `faults` are to the caller; a long list is cut.
pub(super) fn refused(mut faults: Vec<RowError>) -> AppError {
    if faults.len() > MOST_FAULTS {
        faults.truncate(MOST_FAULTS);
        let detail = format!("more faults than the {MOST_FAULTS} that are named");
        let row = faults.last().map_or(1, |it| it.row);
        faults.push(RowError::new(row, "", "MORE_FAULTS", detail));
    }
    AppError::InvalidRows(faults)
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    const COLUMNS: Columns = Columns {
        numbers: &["air_c", "rain_mm"],
        texts: &["at", "note"],
        required: &["at", "air_c"],
        most_rows: 3,
    };

    fn check(text: &str, expected: &[(u64, &str, &str)]) {
        let faults = rows(text.as_bytes(), COLUMNS).err().unwrap_or_default();
        let found: Vec<_> =
            faults.iter().map(|it| (it.row, it.column.as_str(), it.code.as_str())).collect();
        assert_eq!(found, expected, "{text}");
    }

    #[test]
    fn columns_stand_in_any_order_and_empty_cells_are_left_out() {
        let text = "\u{feff}air_c;rain_mm;at\n12.5;;noon\n-3;0.2;night\n";
        let read = rows(text.as_bytes(), COLUMNS).unwrap();
        let cells: Vec<Value> = read.into_iter().map(|it| it.cells.into()).collect();
        let expected = [
            json!({ "air_c": 12.5, "at": "noon" }),
            json!({ "air_c": -3.0, "rain_mm": 0.2, "at": "night" }),
        ];
        assert_eq!(cells, expected);
    }

    #[test]
    fn every_fault_is_named() {
        check("at,air_c,wind\n", &[(1, "wind", "UNKNOWN_COLUMN")]);
        check("at,at\n", &[(1, "at", "DUPLICATE_COLUMN"), (1, "air_c", "MISSING_COLUMN")]);
        check("at,air_c\n", &[(1, "", "EMPTY_FILE")]);
        check("at,air_c\nnoon,12,5\n", &[(2, "", "WRONG_LENGTH")]);
        let faults = rows(b"at;air_c\nnoon;12,5\nnight;warm\nnight;NaN\n", COLUMNS).unwrap_err();
        assert_eq!(faults[0].detail, "`12,5` has a decimal comma: write 12.5");
        assert_eq!(faults.len(), 3);
        check(&("at,air_c\n".to_owned() + &"noon,1\n".repeat(4)), &[(5, "", "TOO_MANY_ROWS")]);
    }
}
