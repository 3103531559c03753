//! Scanned labels: against the published rules, against another library, in any order, with any
//! mistake.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

use chrono::NaiveDate;
use domain::stock::gs1::{FaultCode, Label, ScanFault, parse};

#[cfg(test)]
mod forms;
#[cfg(test)]
mod mutations;
#[cfg(test)]
mod published;
#[cfg(test)]
mod reference;
#[cfg(test)]
mod separators;

/// FNC1 as a scanner sends it.
const GS: &str = "\u{1d}";

fn today() -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 11, 25).unwrap()
}

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn read(scan: &str) -> Label {
    parse(scan, today()).unwrap_or_else(|faults| panic!("{scan:?}: {faults:?}"))
}

fn faults(scan: &str) -> Vec<ScanFault> {
    match parse(scan, today()) {
        Ok(label) => panic!("{scan:?}: {label:?}"),
        Err(faults) => faults,
    }
}

/// The codes and positions of what is wrong.
fn wrong(scan: &str) -> Vec<(FaultCode, usize)> {
    faults(scan).iter().map(|it| (it.code, it.position)).collect()
}

/// The fields alone.
fn fields(mut label: Label) -> Label {
    label.notices.clear();
    label
}
