//! The process's side of the jobs: which handler runs which job, and which schedules there are.
//!
//! Every handler calls one use case and says what it did in numbers; nothing is decided here.

mod handlers;
mod run;
mod schedules;

pub use run::{WorkerError, run};
