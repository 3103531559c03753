//! Reads the joint register from CSV: one header line, then one joint a line.
//!
//! Pure: the caller brings the records. The reader must be `flexible`, so that a line with too
//! many or too few fields arrives here and is named, instead of ending the file.
//! That two lines carry one number is for the caller to see: a line knows only itself.

mod header;
mod row;

use serde::Serialize;
use utoipa::ToSchema;

pub use header::Header;

/// One fault in a register.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct RowError {
    /// Line of the table; 1 is the header, the first joint is on 2.
    pub row: u64,
    /// Name of the column; empty where the whole line is meant.
    pub column: String,
    /// Stable code, such as `REQUIRED` or `UNKNOWN_COLUMN`.
    pub code: String,
    /// What is wrong and what would be right.
    pub detail: String,
}

impl RowError {
    /// A fault in `column` of line `row`.
    pub fn new(row: u64, column: &str, code: &str, detail: impl Into<String>) -> Self {
        Self { row, column: column.to_owned(), code: code.to_owned(), detail: detail.into() }
    }
}

/// The delimiter that the first line uses, `,` or `;`; what stands in quotes does not count.
pub fn sniff_delimiter(start: &[u8]) -> u8 {
    let mut quoted = false;
    let (mut commas, mut semicolons) = (0_usize, 0_usize);
    for byte in start {
        match byte {
            b'"' => quoted = !quoted,
            b'\n' | b'\r' if !quoted => break,
            b',' if !quoted => commas += 1,
            b';' if !quoted => semicolons += 1,
            _ => {}
        }
    }
    if semicolons > commas { b';' } else { b',' }
}

#[cfg(test)]
mod tests;
