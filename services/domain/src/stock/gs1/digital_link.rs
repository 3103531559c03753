//! GS1 Digital Link URIs: `https://id.example/01/09506000134352/10/L-4711/21/7?17=271130`.
//!
//! Source: GS1 Digital Link Standard, URI Syntax, as far as the GS1 Barcode Syntax Dictionary
//! restates it (second-hand): primary keys, their qualifiers and the order of these in the path,
//! what may stand in the query. From memory, unverified: a GTIN has fourteen digits there, query
//! names of letters are none of GS1's, and the old names such as `/gtin/` are no longer used.
//! Compressed links are not read.

use super::{
    fault::{FaultCode, ScanFault},
    identifier::{Identifier, identifier},
    source::{Element, Source},
};

/// Reads the elements of the address at `at`.
pub(super) fn read(source: &Source, at: usize, faults: &mut Vec<ScanFault>) -> Vec<Element> {
    let text = source.rest(at).split('#').next().unwrap_or_default();
    let (address, query) = text.split_once('?').unwrap_or((text, ""));
    let mut pieces = Vec::new();
    path(address, at, &mut pieces, faults);
    let path_length = pieces.len();
    if !query.is_empty() {
        query_into(query, at + address.len() + 1, &mut pieces, faults);
    }
    let mut elements = Vec::new();
    for (place, piece) in pieces.into_iter().enumerate() {
        if place >= path_length && !piece.identifier.in_query {
            let detail = format!("({}) stands in the path of a Digital Link only", piece.code);
            faults.push(ScanFault::new(FaultCode::DigitalLink, piece.at, detail));
        }
        match decoded(piece.value) {
            Ok(value) => elements.push(Element {
                identifier: piece.identifier,
                code: piece.code.to_owned(),
                value,
                at: piece.at,
                value_at: piece.value_at,
            }),
            Err(place) => {
                let detail = "after `%` stand two hexadecimal digits of an ASCII character";
                faults.push(ScanFault::new(FaultCode::DigitalLink, piece.value_at + place, detail));
            }
        }
    }
    elements
}

/// An identifier with its value as it stands there.
struct Piece<'a> {
    identifier: &'static Identifier,
    code: &'a str,
    value: &'a str,
    at: usize,
    value_at: usize,
}

/// Reads the path: whatever, a primary key, its qualifiers.
fn path<'a>(address: &'a str, at: usize, pieces: &mut Vec<Piece<'a>>, faults: &mut Vec<ScanFault>) {
    let mut from = at;
    let mut segments: Vec<(usize, &str)> = Vec::new();
    for segment in address.split('/') {
        segments.push((from, segment));
        from += segment.len() + 1;
    }
    // Scheme, nothing, host; the last one is empty where the path ends with a slash.
    let mut segments = segments.split_off(segments.len().min(3));
    segments.pop_if(|it| it.1.is_empty());
    let key = segments.iter().position(|it| qualifiers(it.1).is_some());
    let Some(pairs) = key.and_then(|key| segments.get(key..)) else {
        let detail = "no primary key such as /01/ with a GTIN is in the path of the address";
        faults.push(ScanFault::new(FaultCode::DigitalLink, at, detail));
        return;
    };
    let mut codes = Vec::new();
    for pair in pairs.chunks(2) {
        let [(at, code), (value_at, value)] = *pair else {
            for (at, code) in pair {
                let detail = format!("nothing stands after /{code}");
                faults.push(ScanFault::new(FaultCode::DigitalLink, *at, detail));
            }
            break;
        };
        let Some(identifier) = identifier(code) else {
            let detail = format!("`{code}` in the path is no application identifier");
            faults.push(ScanFault::new(FaultCode::UnknownIdentifier, at, detail));
            continue;
        };
        codes.push((at, code));
        pieces.push(Piece { identifier, code, value, at, value_at });
    }
    judge_order(&codes, faults);
}

/// What may follow `code` as primary key; none if it is none.
fn qualifiers(code: &str) -> Option<&'static str> {
    identifier(code)?.qualifiers
}

/// Qualifiers come in the order of one of their alternatives, each once, some left out.
fn judge_order(codes: &[(usize, &str)], faults: &mut Vec<ScanFault>) {
    let Some(((_, key), given)) = codes.split_first() else { return };
    let allowed = qualifiers(key).unwrap_or_default();
    let fits = |alternative: &str| {
        let mut order = alternative.split(',');
        given.iter().all(|(_, code)| order.any(|it| it == *code))
    };
    if let Some((at, _)) = given.first()
        && !allowed.split('|').any(fits)
    {
        let order = allowed.replace(',', ", ").replace('|', ", or ");
        let right = if order.is_empty() { "nothing".to_owned() } else { order };
        let detail = format!("after /{key}/ may follow, in this order: {right}");
        faults.push(ScanFault::new(FaultCode::DigitalLink, *at, detail));
    }
}

/// Reads `name=value&…`; names that are not all digits are none of GS1's.
fn query_into<'a>(
    query: &'a str,
    at: usize,
    pieces: &mut Vec<Piece<'a>>,
    faults: &mut Vec<ScanFault>,
) {
    let mut from = at;
    for pair in query.split('&') {
        let (code, value) = pair.split_once('=').unwrap_or((pair, ""));
        if !code.is_empty() && code.bytes().all(|it| it.is_ascii_digit()) {
            match identifier(code) {
                Some(identifier) => {
                    let value_at = from + code.len() + 1;
                    pieces.push(Piece { identifier, code, value, at: from, value_at });
                }
                None => {
                    let detail = format!("`{code}` in the query is no application identifier");
                    faults.push(ScanFault::new(FaultCode::UnknownIdentifier, from, detail));
                }
            }
        }
        from += pair.len() + 1;
    }
}

/// The text with its `%2F` and the like decoded, or where it cannot be.
fn decoded(text: &str) -> Result<String, usize> {
    let mut decoded = String::new();
    let mut rest = text;
    while let Some((before, behind)) = rest.split_once('%') {
        decoded.push_str(before);
        let at = text.len() - behind.len() - 1;
        let byte = behind.get(..2).and_then(|it| u8::from_str_radix(it, 16).ok());
        let byte = byte.filter(u8::is_ascii).ok_or(at)?;
        decoded.push(char::from(byte));
        rest = behind.get(2..).unwrap_or_default();
    }
    decoded.push_str(rest);
    Ok(decoded)
}
