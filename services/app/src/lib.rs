//! The use cases: what can be asked of the server, whoever asks and by whatever way.
//!
//! Each loads, lets the domain decide, stores and commits. HTTP is not known here.

pub mod accounts;
pub mod ambient;
pub mod audit;
pub mod clock;
mod conditions;
pub mod context;
pub mod error;
pub mod export;
pub mod feed;
pub mod imports;
pub mod jobs;
pub mod joints;
pub mod lots;
pub mod mail;
pub mod nonconformances;
pub mod outlook;
pub mod plan;
pub mod projects;
pub mod quality;
pub mod reads;
pub mod releases;
mod retry;
pub mod scans;
pub mod seal;
pub mod setup;
pub mod signing;
pub mod stock;
pub mod takeoff;
pub mod upkeep;
pub mod verify;
pub mod warnings;
pub mod webhooks;
pub mod work;

pub use clock::{Clock, FixedClock, SystemClock};
pub use context::{Actor, App, new_id};
pub use error::AppError;
