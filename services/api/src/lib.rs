//! The HTTP edge: what is asked is read and checked here, what is answered is shaped here, and
//! nothing is decided here.
//!
//! To add an operation: one file under `routes/` with its request, its response and its handler,
//! and one line in the `configure` of its folder. The permission stands in the handler's
//! signature ([`extract::Permit`]); errors leave through [`Problem`].

mod app;
mod conditional;
mod deprecation;
mod docs;
mod edge;
pub mod extract;
mod idempotency;
mod limiter;
mod load;
mod metrics;
mod openapi;
mod openapi_facts;
mod openapi_rules;
mod problem;
mod problem_kinds;
mod rate;
mod readiness;
pub mod reply;
mod routes;
mod settings;

pub use app::{configure, serve, serve_admin, service};
pub use limiter::{Limiter, Quotas};
pub use load::Load;
pub use metrics::Recorder;
pub use openapi::{openapi, openapi_json};
pub use problem::Problem;
pub use problem_kinds::{KINDS, ProblemKind, table as problem_table};
pub use readiness::Readiness;
pub use settings::Settings;
