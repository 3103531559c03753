//! Reads a scanned GS1 label: which material it is, which lot, how much, until when.
//!
//! [`parse`] takes what a scanner types, in any of three forms:
//!
//! * element strings, `]C1` or another symbology identifier before them or not, the separator
//!   FNC1 as the character ASCII 29 (GS),
//! * the printed form with brackets, `(01)09506000134352(10)L-4711`,
//! * a GS1 Digital Link URI, `https://id.example/01/09506000134352/10/L-4711?17=271130`.
//!
//! Every fault is named at once, each with the character at which it stands. Where a scan reads
//! well but may not mean what it says, the label carries a [`ScanNotice`].
//!
//! To know another identifier: a row in `table.rs`, with its source. To make a field of one that
//! is known already: `label.rs`.

mod bracketed;
mod calendar;
mod check_digit;
mod digital_link;
mod element_strings;
mod fault;
mod identifier;
mod label;
mod pairs;
mod receipt;
mod source;
mod swallowed;
mod table;
mod value;

use chrono::NaiveDate;

pub use check_digit::{check_digit, has_right_check_digit};
pub use fault::{FaultCode, ScanFault, ScanNotice};
pub use label::{ElementView, Label, RollDimensions, Winding};
pub use receipt::{KnownLot, NewLot, Receipt, SuggestedReceive, receipt};

use source::{Element, Source};

/// Reads one scan. `today` decides the century of two-digit years.
///
/// # Errors
///
/// Every fault, in the order of their positions.
pub fn parse(scan: &str, today: NaiveDate) -> Result<Label, Vec<ScanFault>> {
    let source = Source::new(scan);
    let mut faults = Vec::new();
    let content = source.content(&mut faults);
    let (mut elements, separated) = if source.is_uri(content) {
        (digital_link::read(&source, content, &mut faults), true)
    } else if source.rest(content).starts_with('(') {
        (bracketed::read(&source, content, &mut faults), true)
    } else {
        (element_strings::read(&source, content, &mut faults), false)
    };
    let mut notices = Vec::new();
    for element in &elements {
        let found = value::faults(&source, element, today);
        if separated {
            faults.extend(found);
        } else {
            swallowed::judge(element, &elements, found, today, &mut faults, &mut notices);
        }
    }
    drop_repeated(&mut elements, &mut faults);
    pairs::judge(&elements, &mut faults, &mut notices);
    if elements.is_empty() && faults.is_empty() {
        faults.push(ScanFault::new(FaultCode::Empty, 0, "there is nothing to read in the scan"));
    }
    if faults.is_empty() {
        return Ok(Label::of(&elements, notices, today));
    }
    faults.sort_by_key(|fault| fault.position);
    Err(faults)
}

/// The same element twice is one; two values of one identifier contradict each other.
fn drop_repeated(elements: &mut Vec<Element>, faults: &mut Vec<ScanFault>) {
    let mut kept: Vec<Element> = Vec::with_capacity(elements.len());
    for element in elements.drain(..) {
        match kept.iter().find(|it| it.code == element.code) {
            None => kept.push(element),
            Some(first) if first.value == element.value => {}
            Some(first) => {
                let detail = format!(
                    "({code}) stands here with `{}` and before with `{}`: one label has one",
                    element.value,
                    first.value,
                    code = element.code,
                );
                faults.push(ScanFault::new(FaultCode::Repeated, element.at, detail));
            }
        }
    }
    *elements = kept;
}
