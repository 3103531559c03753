//! The form that is printed below a symbol and typed by hand: `(01)09506000134352(10)L-4711`.

use super::{
    fault::{FaultCode, ScanFault},
    identifier::identifier,
    source::{Element, Source},
};

/// Reads the elements from `at` on, where a bracket opens. Blanks around a value do not count.
///
/// A text may have brackets of its own. What stands in them counts as an identifier when it is
/// two to four digits; such a text can be told from one only as element string.
pub(super) fn read(source: &Source, at: usize, faults: &mut Vec<ScanFault>) -> Vec<Element> {
    let text = source.rest(at);
    let brackets = brackets(text);
    let ends = brackets.iter().skip(1).map(|it| it.0).chain([text.len()]);
    let mut elements = Vec::new();
    if brackets.first().is_none_or(|it| it.0 > 0) {
        let detail = "in brackets stands an application identifier of two to four digits";
        faults.push(ScanFault::new(FaultCode::UnknownIdentifier, at, detail));
    }
    for ((open, code), end) in brackets.iter().zip(ends) {
        let Some(identifier) = identifier(code) else {
            let detail = format!(
                "({code}) is no application identifier; if the text has these brackets itself, \
                 scan the symbol"
            );
            faults.push(ScanFault::new(FaultCode::UnknownIdentifier, at + open, detail));
            continue;
        };
        let behind = open + code.len() + 2;
        let raw = text.get(behind..end).unwrap_or_default();
        let value = raw.trim_matches(' ');
        elements.push(Element {
            identifier,
            code: (*code).to_owned(),
            value: value.to_owned(),
            at: at + open,
            value_at: at + behind + raw.len() - raw.trim_start_matches(' ').len(),
        });
    }
    elements
}

/// Every `(` with the two to four digits that follow and are followed by `)`.
fn brackets(text: &str) -> Vec<(usize, &str)> {
    text.match_indices('(')
        .filter_map(|(open, _)| {
            let behind = text.get(open + 1..)?;
            let code = behind.get(..behind.find(')')?)?;
            let digits = code.bytes().all(|it| it.is_ascii_digit());
            (digits && (2..=4).contains(&code.len())).then_some((open, code))
        })
        .collect()
}
