//! The database: its schema, its transactions, and one module per thing it keeps.
//!
//! A function here says what it found; the layer above says what that means. Each takes the
//! connection first, so that the caller decides what happens together.

pub mod error;
pub mod facts;
pub mod imports;
pub mod joints;
pub mod members;
pub mod nonconformances;
pub mod pool;
pub mod projects;
pub mod releases;
pub mod sessions;
pub mod setup;
pub mod setup_codes;
pub mod token_keys;
pub mod tx;
pub mod users;
pub mod warnings;

pub use error::StoreError;
pub use pool::{Connection, MIGRATOR, acquire, connect, migrate};
pub use sqlx::{PgConnection, PgPool};
pub use tx::{Tx, begin, commit, savepoint};
