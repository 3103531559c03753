//! What is wrong with a scan, and what only looks wrong.

use serde::Serialize;
use utoipa::ToSchema;

/// What is wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum FaultCode {
    /// Nothing to read.
    Empty,
    /// A symbol that carries no application identifiers.
    Symbology,
    /// Not an application identifier.
    UnknownIdentifier,
    /// Too few or too many characters.
    WrongLength,
    /// A character that may not stand there.
    WrongCharacter,
    /// The check digit is another one.
    CheckDigit,
    /// No such day.
    Date,
    /// A part of the value that may not be.
    WrongValue,
    /// A text that goes on into the next element: FNC1 is missing.
    MissingSeparator,
    /// Two identifiers that exclude each other.
    NotTogether,
    /// One identifier with two values.
    Repeated,
    /// Not a Digital Link as the standard has it.
    DigitalLink,
}

impl FaultCode {
    /// Its stable name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Empty => "EMPTY",
            Self::Symbology => "NOT_A_GS1_SYMBOL",
            Self::UnknownIdentifier => "UNKNOWN_IDENTIFIER",
            Self::WrongLength => "WRONG_LENGTH",
            Self::WrongCharacter => "WRONG_CHARACTER",
            Self::CheckDigit => "CHECK_DIGIT",
            Self::Date => "NO_SUCH_DATE",
            Self::WrongValue => "WRONG_VALUE",
            Self::MissingSeparator => "MISSING_SEPARATOR",
            Self::NotTogether => "NOT_TOGETHER",
            Self::Repeated => "REPEATED",
            Self::DigitalLink => "DIGITAL_LINK",
        }
    }
}

/// One fault of a scan.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("character {position}: {detail}")]
pub struct ScanFault {
    /// What is wrong.
    pub code: FaultCode,
    /// The character at which it stands, counted from 1, prefix and separators included.
    pub position: usize,
    /// What is wrong and what would be right.
    pub detail: String,
}

impl ScanFault {
    /// A fault at the character with the index `at`, counted from 0.
    pub(super) fn new(code: FaultCode, at: usize, detail: impl Into<String>) -> Self {
        Self { code, position: at + 1, detail: detail.into() }
    }
}

/// Something to look at before the label is believed; the scan is read all the same.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct ScanNotice {
    /// Stable code, such as `INCOMPLETE`.
    pub code: String,
    /// What to look at.
    pub detail: String,
}

impl ScanNotice {
    pub(super) fn new(code: &str, detail: impl Into<String>) -> Self {
        Self { code: code.to_owned(), detail: detail.into() }
    }
}
