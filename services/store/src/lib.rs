//! The database: its schema, its transactions, and one module per thing it keeps.
//!
//! A function here says what it found; the layer above says what that means. Each takes the
//! connection first, so that the caller decides what happens together.

pub mod admission;
pub mod ambient;
pub mod audit;
pub mod checkpoints;
pub mod concessions;
pub mod consumption;
pub mod copies;
pub mod deliveries;
pub mod error;
pub mod exports;
pub mod facts;
pub mod feed;
pub mod idempotency;
pub mod imports;
pub mod joints;
pub mod lot_uses;
pub mod mails;
pub mod members;
pub mod nonconformances;
pub mod outlook;
pub mod outside;
pub mod password_resets;
pub mod pool;
pub mod projects;
pub mod quality;
pub mod read_audit;
pub mod releases;
pub mod sessions;
pub mod setup;
pub mod setup_codes;
pub mod signing;
pub mod stock_balances;
pub mod stock_counts;
pub mod stock_movements;
pub mod throttles;
pub mod token_keys;
pub mod tx;
pub mod users;
pub mod warnings;
pub mod webhooks;

pub use error::StoreError;
pub use pool::{
    Connection, MIGRATOR, Role, acquire, connect, is_migrated, make_roles, migrate,
    newest_migration,
};
pub use sqlx::{PgConnection, PgPool};
pub use tx::{Scope, Tx, begin, begin_by_key, begin_snapshot, commit, enter, savepoint};
