//! The scan as it was sent, and the pieces that were found in it.

use super::{
    fault::{FaultCode, ScanFault},
    identifier::Identifier,
};

/// The separator FNC1 as a scanner sends it: ASCII 29, GS.
pub(super) const SEPARATOR: char = '\u{1d}';

/// Symbology identifiers (ISO/IEC 15424) before which element strings stand: GS1-128, GS1
/// DataMatrix, GS1 QR Code, GS1 DataBar.
const SYMBOLS: [&str; 4] = ["]C1", "]d2", "]Q3", "]e0"];

/// A scan. Every character of it has one byte in `text`, so that an index is a position.
#[derive(Debug)]
pub(super) struct Source {
    /// As it was sent.
    characters: Vec<char>,
    /// The same with a character that is nowhere allowed for each one outside of ASCII.
    text: String,
}

/// One identifier with its value.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Element {
    /// What the table says of it.
    pub identifier: &'static Identifier,
    /// The identifier itself, such as `3103`.
    pub code: String,
    /// Its value, decoded.
    pub value: String,
    /// Index of the identifier in the scan.
    pub at: usize,
    /// Index of the value in the scan.
    pub value_at: usize,
}

impl Source {
    pub(super) fn new(scan: &str) -> Self {
        let characters: Vec<char> = scan.chars().collect();
        let text = characters.iter().map(|it| if it.is_ascii() { *it } else { '\u{1a}' }).collect();
        Self { characters, text }
    }

    /// The scan from `at` on, without the line end that a scanner types after it.
    pub(super) fn rest(&self, at: usize) -> &str {
        self.text.get(at..).unwrap_or_default().trim_end_matches([' ', '\t', '\r', '\n'])
    }

    /// Where the content starts: behind blanks, the symbology identifier and leading separators.
    pub(super) fn content(&self, faults: &mut Vec<ScanFault>) -> usize {
        let start = self.text.len() - self.text.trim_start().trim_start_matches(SEPARATOR).len();
        let rest = self.rest(start);
        if !rest.starts_with(']') {
            return start;
        }
        let prefix = rest.get(..3).unwrap_or(rest);
        let content = start + prefix.len();
        // A Digital Link comes from a symbol without FNC1 in its first place: ]Q1, ]d1.
        if !SYMBOLS.contains(&prefix) && !self.is_uri(content) {
            let detail = format!(
                "the scanner says `{prefix}`, a symbol without application identifiers; those of \
                 GS1 are {}: scan the GS1 symbol of the label",
                SYMBOLS.join(", ")
            );
            faults.push(ScanFault::new(FaultCode::Symbology, start, detail));
        }
        content
    }

    /// Whether a web address starts at `at`.
    pub(super) fn is_uri(&self, at: usize) -> bool {
        let rest = self.rest(at).to_ascii_lowercase();
        rest.starts_with("http://") || rest.starts_with("https://")
    }

    /// The character with that index, in words.
    pub(super) fn in_words(&self, at: usize) -> String {
        match self.characters.get(at) {
            None => "the end".to_owned(),
            Some(' ') => "a blank".to_owned(),
            Some(it) if it.is_control() => format!("the control character {}", u32::from(*it)),
            Some(it) => format!("`{it}`"),
        }
    }
}
