//! Element strings as a scanner sends them: `0109506000134352` `10L-4711␝` `17271130`.

use super::{
    fault::{FaultCode, ScanFault},
    identifier::leading,
    source::{Element, SEPARATOR, Source},
};

/// Reads the elements from `at` on. After a fault reading goes on behind the next separator.
pub(super) fn read(source: &Source, at: usize, faults: &mut Vec<ScanFault>) -> Vec<Element> {
    let mut elements = Vec::new();
    let mut from = at;
    for segment in source.rest(at).split(SEPARATOR) {
        segment_into(segment, from, &mut elements, faults);
        from += segment.len() + 1;
    }
    if elements.is_empty()
        && let Some(first) = faults.iter_mut().find(|it| it.code == FaultCode::UnknownIdentifier)
    {
        first.detail.push_str(
            "; a symbol of GS1 carries identifiers such as (01) and (10): a plain EAN or UPC, \
             a supplier's own code or a sentence is not one",
        );
    }
    elements
}

/// Reads what stands between two separators, whose first character has the index `from`.
fn segment_into(
    segment: &str,
    from: usize,
    elements: &mut Vec<Element>,
    faults: &mut Vec<ScanFault>,
) {
    let mut rest = segment;
    while !rest.is_empty() {
        let at = from + segment.len() - rest.len();
        let Some((code, identifier)) = leading(rest) else {
            let beginning: String = rest.chars().take(4).collect();
            let detail = format!("no application identifier starts with `{beginning}`");
            faults.push(ScanFault::new(FaultCode::UnknownIdentifier, at, detail));
            return;
        };
        let (_, behind) = rest.split_at(code.len());
        let length = if identifier.fixed { identifier.most() } else { behind.len() };
        let (value, further) = behind.split_at(length.min(behind.len()));
        elements.push(Element {
            identifier,
            code: code.to_owned(),
            value: value.to_owned(),
            at,
            value_at: at + code.len(),
        });
        rest = further;
    }
}

/// Reads `text` as nothing but elements; none where a part of it is none.
pub(super) fn read_exactly(text: &str, at: usize) -> Option<Vec<Element>> {
    let (mut elements, mut faults) = (Vec::new(), Vec::new());
    segment_into(text, at, &mut elements, &mut faults);
    faults.is_empty().then_some(elements)
}
