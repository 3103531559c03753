//! Seals the chains of a project: makes a checkpoint a day, publishes it, and shows it.
//!
//! What a checkpoint proves and what it does not is said in [`domain::seal`]. The key comes from a
//! file that the keeper of the server names; the database never holds it, so one who can write
//! everything there still cannot make a checkpoint that this key bears out.

mod check;
mod each;
mod file;
mod make;
mod proof;
mod publish;
mod show;
mod views;

use std::{path::PathBuf, sync::Arc};

use auth::SealKey;

use crate::AppError;

pub use check::Known;
pub(crate) use check::{Checker, signature_faults};
pub use each::ask_each;
pub use file::{FileError, SealedFile, find_files};
pub use make::{Made, seal};
pub use proof::proof;
pub use show::{list, show, text};
pub use views::{CheckpointView, ProofView, SealedView};

/// What seals: the key, and where checkpoints are published.
#[derive(Debug, Clone)]
pub struct Sealer {
    /// The key.
    pub key: Arc<SealKey>,
    /// The directory that gets a file for each checkpoint, if there is one.
    pub folder: Option<PathBuf>,
}

/// There is no key here.
pub(crate) fn no_key() -> AppError {
    AppError::not_found("key to seal with in this process: name its file by --seal-key")
}
