//! What must stand together on a label and what must not.
//!
//! Source: the GS1 Barcode Syntax Dictionary (published), which asks to judge both over all
//! symbols that one thing carries. One scan is one symbol: what is missing may stand in another
//! one and gives a notice, what excludes each other is wrong in any case.

use super::{
    fault::{FaultCode, ScanFault, ScanNotice},
    identifier::matches,
    source::Element,
};

/// Judges the identifiers of one scan.
pub(super) fn judge(
    elements: &[Element],
    faults: &mut Vec<ScanFault>,
    notices: &mut Vec<ScanNotice>,
) {
    for (place, element) in elements.iter().enumerate() {
        for other in elements.iter().skip(place + 1) {
            if exclude(element, other) {
                let detail = format!(
                    "({}) {} and ({}) {} may not stand on one label{}",
                    element.code,
                    element.identifier.title,
                    other.code,
                    other.identifier.title,
                    advice(&element.code, &other.code)
                );
                faults.push(ScanFault::new(FaultCode::NotTogether, other.at, detail));
            }
        }
        for group in element.identifier.needs {
            if !group.split(',').any(|it| stands(it, elements)) {
                let others =
                    group.split(',').map(|it| format!("({})", it.replace('+', ") with (")));
                let others = others.collect::<Vec<_>>().join(" or ");
                let detail = format!(
                    "({}) {} stands with {others}, which this symbol has not: scan the other \
                     symbol of the label too",
                    element.code, element.identifier.title
                );
                notices.push(ScanNotice::new("INCOMPLETE", detail));
            }
        }
    }
}

/// Whether two elements exclude each other, whichever says so. No identifier excludes itself.
pub(super) fn exclude(one: &Element, other: &Element) -> bool {
    let says = |a: &Element, b: &Element| {
        a.code != b.code && a.identifier.excludes.split(',').any(|it| matches(it, &b.code))
    };
    says(one, other) || says(other, one)
}

fn stands(alternative: &str, elements: &[Element]) -> bool {
    alternative.split('+').all(|wanted| elements.iter().any(|it| matches(wanted, &it.code)))
}

/// The mistake that is made most often, put right.
fn advice(one: &str, other: &str) -> &'static str {
    match (one, other) {
        ("01", "37") | ("37", "01") => {
            ": a count (37) belongs to the content (02) of a logistic unit (00); rolls in a pack \
             of variable count are (30)"
        }
        _ => "",
    }
}
