//! Against biip 5.2.0, another reader of GS1 labels; its table was written once by the script
//! `tests/reference/gs1_labels.py`.

use std::{fs, path::PathBuf};

use chrono::NaiveDate;
use domain::stock::gs1::{FaultCode, Label, parse};
use serde::Deserialize;
use serde_json::{Value, json};

#[derive(Deserialize)]
struct Row {
    kind: String,
    year: i32,
    scan: String,
    /// What biip reads; none where it refuses.
    fields: Option<Value>,
}

fn rows() -> Vec<Row> {
    let file = PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("../../tests/reference/tables/gs1_labels.jsonl");
    let text = fs::read_to_string(file).unwrap();
    let lines = text.lines().filter(|it| !it.starts_with('#'));
    lines.map(|it| serde_json::from_str(it).unwrap()).collect()
}

fn ours(row: &Row) -> Result<Label, Vec<FaultCode>> {
    let today = NaiveDate::from_ymd_opt(row.year, 11, 25).unwrap();
    parse(&row.scan, today).map_err(|faults| faults.iter().map(|it| it.code).collect())
}

/// Our fields in the form of the table.
fn told(label: &Label) -> Value {
    let mut told = serde_json::to_value(label).unwrap();
    let others = label.others.iter().map(|it| json!([it.identifier, it.value]));
    told["others"] = others.collect();
    told
}

/// Every identifier that biip knows, with its shortest and its longest value, and another element
/// behind it; labels of rolls in random order in years at both ends of the window of centuries;
/// the printed form; links.
#[test]
fn what_biip_reads_is_read_alike() {
    let mut alike = 0;
    let rows = rows();
    for row in rows.iter().filter(|it| it.kind != "mutated") {
        match (&row.fields, ours(row)) {
            (Some(expected), Ok(label)) => {
                assert_eq!(&told(&label), expected, "{} {:?}", row.kind, row.scan);
                alike += 1;
            }
            (expected, found) => panic!("{} {:?}: {expected:?}, {found:?}", row.kind, row.scan),
        }
    }
    println!("{alike} alike");
    assert!(alike >= 2000);
}

/// Labels with one character lost, added, changed or swapped with the next.
#[test]
fn what_is_read_of_a_wrong_label_biip_reads_alike() {
    let (mut alike, mut refused_here, mut refused_by_both) = (0, 0, 0);
    for row in rows().iter().filter(|it| it.kind == "mutated") {
        match (&row.fields, ours(row)) {
            (Some(expected), Ok(label)) => {
                assert_eq!(&told(&label), expected, "{:?}", row.scan);
                alike += 1;
            }
            (None, Ok(label)) => panic!("{:?}: biip refuses, we read {label:?}", row.scan),
            (Some(_), Err(_)) => refused_here += 1,
            (None, Err(_)) => refused_by_both += 1,
        }
    }
    println!("{alike} alike, {refused_by_both} refused by both, {refused_here} by us alone");
    assert!(alike >= 100 && refused_by_both >= 500);
}
