use std::collections::BTreeSet;

use csv::StringRecord;
use proptest::prelude::*;
use serde_json::json;

use super::{Header, RowError, sniff_delimiter};
use crate::{
    joints::{JointKind, RegisterEntry},
    setup::{Kind, ProjectSetup},
};

const COLUMNS: [&str; 11] = [
    "joint_number",
    "kp",
    "section",
    "kind",
    "pipe_before",
    "pipe_after",
    "heat_before",
    "heat_after",
    "welder",
    "weld_date",
    "coating_system",
];

const GOOD: [&str; 11] =
    ["A-0001", "1.250", "S1", "mainline", "P1", "P2", "H1", "H2", "W-01", "2026-05-31", "CT-A"];

fn setup() -> ProjectSetup {
    let mut setup = ProjectSetup::empty(chrono_tz::UTC);
    let section = json!({
        "code": "S1", "name": "First", "kp_from_km": 1.2, "kp_to_km": 3.4, "line_pipe": "DN500",
        "coating_system": "CT-A", "inspection_plan": "ITP-1", "backfill": "screened",
        "design_temperature_c": 40.0
    });
    let system = json!({ "code": "CT-A", "name": "A", "surface_grade": "St 3", "layers": [
        { "role": "inner_wrap", "material": "T", "thickness_mm": 1.0 }
    ]});
    setup.insert(Kind::Section, "S1".to_owned(), section).unwrap();
    setup.insert(Kind::CoatingSystem, "CT-A".to_owned(), system).unwrap();
    setup
}

fn read(cells: &[&str]) -> Result<RegisterEntry, Vec<RowError>> {
    let header = Header::read(&StringRecord::from(COLUMNS.to_vec())).unwrap();
    header.entry(7, &StringRecord::from(cells.to_vec()), &setup())
}

fn with(column: &str, cell: &str) -> Result<RegisterEntry, Vec<RowError>> {
    let mut cells = GOOD;
    cells[COLUMNS.iter().position(|it| *it == column).unwrap()] = cell;
    read(&cells)
}

fn only_fault(column: &str, cell: &str) -> RowError {
    let faults = with(column, cell).unwrap_err();
    assert_eq!(faults.len(), 1, "{faults:?}");
    assert_eq!((faults[0].row, faults[0].column.as_str()), (7, column));
    faults[0].clone()
}

#[test]
fn a_good_line_is_read() {
    let entry = read(&GOOD).unwrap();
    assert_eq!(entry.joint_number, "A-0001");
    assert!((entry.kp_m - 1250.0).abs() < 1e-6);
    assert_eq!(entry.kind, JointKind::Mainline);
    assert_eq!(entry.welded_on.unwrap().to_string(), "2026-05-31");
    assert_eq!(entry.coating_system.as_deref(), Some("CT-A"));
}

#[test]
fn what_may_be_empty_may_be_empty() {
    let entry = read(&["A", "1+250", "S1", "tie-in", "", " ", "", "", "", "", ""]).unwrap();
    assert_eq!((entry.pipe_before, entry.welded_on, entry.coating_system), (None, None, None));
    assert!((entry.kp_m - 1250.0).abs() < 1e-6);
    assert_eq!(entry.kind, JointKind::TieIn);
}

#[test]
fn the_borders_of_the_section_are_inside() {
    assert!(with("kp", "1.2").is_ok());
    assert!(with("kp", "3.400").is_ok());
    assert_eq!(only_fault("kp", "3.402").code, "OUT_OF_RANGE");
    assert_eq!(only_fault("kp", "1.198").code, "OUT_OF_RANGE");
}

#[test]
fn each_fault_says_what_would_be_right() {
    for (column, cell, code, hint) in [
        ("joint_number", "", "REQUIRED", "every joint needs it"),
        ("joint_number", "A 1", "WRONG_CHARACTER", "letters, digits"),
        ("kp", "1,250", "DECIMAL_COMMA", "with a point"),
        ("kp", "one", "WRONG_FORMAT", "12+345"),
        ("section", "S9", "UNKNOWN_SECTION", "known: S1"),
        ("kind", "elbow", "UNKNOWN_KIND", "tie_in"),
        ("coating_system", "CT-Z", "UNKNOWN_COATING_SYSTEM", "known: CT-A"),
        ("weld_date", "31.05.2026", "WRONG_FORMAT", "2026-05-31"),
        ("weld_date", "2026-02-30", "OUT_OF_RANGE", "no day of the calendar"),
        ("heat_after", "one\ntwo", "WRONG_CHARACTER", "one line"),
    ] {
        let fault = only_fault(column, cell);
        assert_eq!(fault.code, code, "{column}={cell}");
        assert!(fault.detail.contains(hint), "{column}={cell}: {}", fault.detail);
    }
    assert_eq!(only_fault("joint_number", &"9".repeat(61)).code, "WRONG_LENGTH");
    assert!(with("joint_number", &"9".repeat(60)).is_ok());
}

#[test]
fn a_line_of_another_width_is_named_as_a_whole() {
    let faults = read(&GOOD[..10]).unwrap_err();
    assert_eq!(faults.len(), 1);
    assert_eq!((faults[0].column.as_str(), faults[0].code.as_str()), ("", "WRONG_FIELD_COUNT"));
}

#[test]
fn a_header_is_read_in_any_order_case_and_spacing() {
    let mut names: Vec<String> =
        COLUMNS.iter().rev().map(|name| format!("  {} ", name.to_uppercase())).collect();
    names[0] = "\u{feff}Coating System".to_owned();
    let header = Header::read(&StringRecord::from(names)).unwrap();
    let cells: Vec<&str> = GOOD.iter().rev().copied().collect();
    let entry = header.entry(2, &StringRecord::from(cells), &setup()).unwrap();
    assert_eq!(entry, read(&GOOD).unwrap());
    assert!(Header::read(&StringRecord::from(Header::required())).is_ok());
}

#[test]
fn a_header_names_all_its_faults() {
    let mut names: Vec<&str> = COLUMNS[..9].to_vec();
    names.extend(["colour", "KP"]);
    let faults = Header::read(&StringRecord::from(names)).unwrap_err();
    let found: Vec<(u64, &str, &str)> =
        faults.iter().map(|it| (it.row, it.column.as_str(), it.code.as_str())).collect();
    assert_eq!(
        found,
        [
            (1, "colour", "UNKNOWN_COLUMN"),
            (1, "kp", "DUPLICATE_COLUMN"),
            (1, "weld_date", "MISSING_COLUMN"),
        ]
    );
}

#[test]
fn the_delimiter_is_the_one_of_the_first_line() {
    assert_eq!(sniff_delimiter(b"a,b,c\n1;2;3;4;5"), b',');
    assert_eq!(sniff_delimiter(b"a;b;c\r\n1,2,3,4,5"), b';');
    assert_eq!(sniff_delimiter(b"\"a,b,c\";d"), b';');
    assert_eq!(sniff_delimiter(b""), b',');
}

/// A cell that is wrong in its column, whatever else is in the line.
fn wrong_cell(column: &str) -> &'static str {
    match column {
        "joint_number" => "no spaces",
        "kp" => "1,3",
        "section" => "nowhere",
        "kind" => "spool",
        "weld_date" => "yesterday",
        "coating_system" => "paint",
        _ => "a\u{7}b",
    }
}

proptest! {
    #[test]
    fn every_fault_carries_its_row_and_column(
        order in Just((0..COLUMNS.len()).collect::<Vec<_>>()).prop_shuffle(),
        wrong in proptest::collection::btree_set(0..COLUMNS.len(), 0..=COLUMNS.len()),
        row in 2_u64..1_000_000,
    ) {
        let names: Vec<&str> = order.iter().map(|at| COLUMNS[*at]).collect();
        let header = Header::read(&StringRecord::from(names)).unwrap();
        let cells: Vec<&str> = order
            .iter()
            .map(|at| if wrong.contains(at) { wrong_cell(COLUMNS[*at]) } else { GOOD[*at] })
            .collect();
        let read = header.entry(row, &StringRecord::from(cells), &setup());
        let faults = read.err().unwrap_or_default();
        let found: BTreeSet<&str> = faults.iter().map(|it| it.column.as_str()).collect();
        let planted: BTreeSet<&str> = wrong.iter().map(|at| COLUMNS[*at]).collect();
        prop_assert_eq!(found.len(), faults.len());
        prop_assert_eq!(found, planted);
        prop_assert!(faults.iter().all(|it| it.row == row));
    }

    #[test]
    fn no_line_whatever_makes_it_panic(cells in proptest::collection::vec(".{0,80}", 9..13)) {
        let header = Header::read(&StringRecord::from(COLUMNS.to_vec())).unwrap();
        let _ = header.entry(2, &StringRecord::from(cells), &setup());
    }
}
