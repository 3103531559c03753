//! What can happen to a field joint, what follows from it, and what is refused.
//!
//! Facts are recorded, permissions are refused: [`joints::fold`] never refuses a fact, and the
//! decisions ([`joints::release`]) answer with every reason at once.
//! There is no clock, no async, no SQL and no HTTP here; time and set-up are arguments.
//!
//! To add a fact: a struct in `joints/event.rs` and its variant, its effect in
//! `joints/state.rs`, and, where it bears on the release, its gate in `joints/gates/`.

pub mod access;
pub mod ambient;
pub mod condition;
pub mod ids;
pub mod joints;
pub mod outlook;
pub mod quality;
pub mod register;
pub mod schema;
pub mod seal;
pub mod setup;
pub mod stock;
pub mod takeoff;
