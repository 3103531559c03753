//! A production plan from CSV.

use domain::{
    register::{RowError, sniff_delimiter},
    setup::{PlanLine, ProductionPlan},
};

/// The columns, in any order.
const COLUMNS: [&str; 5] = ["spread", "section", "from", "to", "joints_per_day"];

/// As many as the plan may have.
const MOST_ROWS: usize = 2000;

/// Reads `bytes`, or names every fault with its row and column. What the lines name is checked
/// when the plan is put.
pub fn from_csv(bytes: &[u8]) -> Result<ProductionPlan, Vec<RowError>> {
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(sniff_delimiter(bytes))
        .flexible(true)
        .trim(csv::Trim::All)
        .from_reader(bytes);
    let unreadable =
        |row: u64, error: &csv::Error| RowError::new(row, "", "UNREADABLE", error.to_string());
    let header = reader.headers().map_err(|error| vec![unreadable(1, &error)])?.clone();
    let places = places(&header)?;
    let (mut lines, mut faults) = (Vec::new(), Vec::new());
    for (index, record) in reader.records().enumerate() {
        let row = u64::try_from(index).unwrap_or(u64::MAX).saturating_add(2);
        if index >= MOST_ROWS {
            let detail = format!("a plan has at most {MOST_ROWS} lines");
            faults.push(RowError::new(row, "", "TOO_MANY_ROWS", detail));
            break;
        }
        match record {
            Ok(record) => match line(row, &record, places) {
                Ok(line) => lines.push(line),
                Err(found) => faults.extend(found),
            },
            Err(error) => faults.push(unreadable(row, &error)),
        }
    }
    if faults.is_empty() { Ok(ProductionPlan { lines }) } else { Err(faults) }
}

fn places(header: &csv::StringRecord) -> Result<[usize; 5], Vec<RowError>> {
    let mut faults: Vec<RowError> = header
        .iter()
        .filter(|name| !COLUMNS.contains(name))
        .map(|name| {
            let detail = format!("the columns are {}", COLUMNS.join(", "));
            RowError::new(1, name, "UNKNOWN_COLUMN", detail)
        })
        .collect();
    let mut places = [0; 5];
    for (place, column) in places.iter_mut().zip(COLUMNS) {
        let found: Vec<usize> =
            header.iter().enumerate().filter(|it| it.1 == column).map(|it| it.0).collect();
        match found.as_slice() {
            [one] => *place = *one,
            [] => faults.push(RowError::new(1, column, "REQUIRED", "this column is missing")),
            _ => faults.push(RowError::new(1, column, "DUPLICATE", "this column is there twice")),
        }
    }
    if faults.is_empty() { Ok(places) } else { Err(faults) }
}

fn line(
    row: u64,
    record: &csv::StringRecord,
    [spread, section, from, to, rate]: [usize; 5],
) -> Result<PlanLine, Vec<RowError>> {
    let mut faults = Vec::new();
    let text = |place: usize| record.get(place).unwrap_or_default();
    let mut fault = |column: &str, code: &str, detail: String| {
        faults.push(RowError::new(row, column, code, detail));
    };
    for (place, column) in [(spread, "spread"), (section, "section")] {
        if text(place).is_empty() {
            fault(column, "REQUIRED", "a code is needed".to_owned());
        }
    }
    let mut day = |place: usize, column: &str| {
        let read = text(place).parse::<chrono::NaiveDate>();
        if read.is_err() {
            let detail = format!("`{}` is no date such as 2026-07-01", text(place));
            fault(column, "NOT_A_DATE", detail);
        }
        read.unwrap_or_default()
    };
    let (from, to) = (day(from, "from"), day(to, "to"));
    let joints_per_day = text(rate).parse::<f64>().ok().filter(|it| (0.0..=1000.0).contains(it));
    if joints_per_day.is_none() {
        let detail = format!("`{}` is no number from 0 to 1000, with a decimal point", text(rate));
        fault("joints_per_day", "OUT_OF_RANGE", detail);
    }
    match (joints_per_day, faults.is_empty()) {
        (Some(joints_per_day), true) => Ok(PlanLine {
            spread: text(spread).to_owned(),
            section: text(section).to_owned(),
            from,
            to,
            joints_per_day,
        }),
        _ => Err(faults),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_stand_in_any_order() {
        let text = "section;spread;joints_per_day;from;to\nS1;A;12.5;2026-07-01;2026-07-31\n";
        let plan = from_csv(text.as_bytes()).unwrap();
        assert_eq!(plan.lines.len(), 1);
        assert_eq!((plan.lines[0].spread.as_str(), plan.lines[0].joints_per_day), ("A", 12.5));
    }

    #[test]
    fn every_fault_is_named() {
        let text = "spread,section,from,to,joints_per_day\nA,S1,1 July,2026-07-31,\"12,5\"\n,S1,2026-07-01,2026-07-02,1\n";
        let faults = from_csv(text.as_bytes()).unwrap_err();
        let found: Vec<_> = faults.iter().map(|it| (it.row, it.column.as_str())).collect();
        assert_eq!(found, [(2, "from"), (2, "joints_per_day"), (3, "spread")]);
        let faults = from_csv(b"spread,section,from,rate\n").unwrap_err();
        let codes: Vec<_> = faults.iter().map(|it| it.code.as_str()).collect();
        assert_eq!(codes, ["UNKNOWN_COLUMN", "REQUIRED", "REQUIRED"]);
    }
}
