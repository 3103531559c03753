//! Uploaded files: taken in as they arrive, read later by a job, stored whole or not at all.

mod check;
mod finish;
mod run;
mod show;
mod upload;

use domain::register::RowError;
use serde::{Deserialize, Serialize};
use store::imports::Import;
use utoipa::ToSchema;

pub use run::run;
pub use show::{ShownImport, show};
pub use upload::{Places, Upload, open};

/// Most bytes of a file.
pub const LARGEST_FILE: usize = 50 * 1024 * 1024;

/// Bytes of a stored part; the last one of a file may be shorter.
const PART: usize = 1024 * 1024;

/// Most errors kept of an import: whoever has read a thousand corrects the file and sends it anew.
const MOST_ERRORS: usize = 1000;

/// What a file holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ImportKind {
    /// The joint register.
    JointRegister,
}

impl ImportKind {
    /// The name in JSON and SQL.
    pub const fn name(self) -> &'static str {
        match self {
            Self::JointRegister => "joint_register",
        }
    }
}

/// Whether nothing more happens to `import`.
fn is_over(import: &Import) -> bool {
    matches!(import.status.as_str(), "valid" | "stored" | "refused")
}

/// How many parts the file of `import` has.
fn parts(import: &Import) -> i32 {
    let bytes = usize::try_from(import.bytes_total).unwrap_or_default();
    i32::try_from(bytes.div_ceil(PART)).unwrap_or(i32::MAX)
}

/// Makes what a file said fit to be stored and shown: a cell can be a whole megabyte, and can
/// hold characters that the database refuses.
fn presentable(error: RowError) -> RowError {
    let tidy = |text: String, most: usize| -> String {
        let tame = |c: char| if c.is_control() { char::REPLACEMENT_CHARACTER } else { c };
        text.chars().take(most).map(tame).collect()
    };
    RowError { column: tidy(error.column, 60), detail: tidy(error.detail, 500), ..error }
}
