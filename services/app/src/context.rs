//! What every use case is handed.

use std::sync::Arc;

use auth::Hasher;
use chrono::{DateTime, Utc};
use domain::ids::{SessionId, UserId};
use store::{PgPool, Tx};
use uuid::{NoContext, Timestamp, Uuid};

use crate::{AppError, Clock, accounts::KeyCache, setup::SetupCache};

/// The server without its ways in: database, time, secrets.
#[derive(Clone)]
pub struct App {
    /// The database.
    pub pool: PgPool,
    /// The time.
    pub clock: Arc<dyn Clock>,
    /// Hashes passwords, a few at a time.
    pub hasher: Hasher,
    /// The keys that sign access tokens.
    pub keys: KeyCache,
    /// Set-ups that were read.
    pub setups: SetupCache,
}

impl App {
    /// Reads the keys that sign access tokens; makes the first one where there is none.
    pub async fn new(
        pool: PgPool,
        clock: Arc<dyn Clock>,
        hasher: Hasher,
    ) -> Result<Self, AppError> {
        let keys = KeyCache::load_or_create(&pool, clock.now()).await?;
        Ok(Self { pool, clock, hasher, keys, setups: SetupCache::default() })
    }

    /// Opens a transaction.
    pub async fn begin(&self) -> Result<Tx, AppError> {
        Ok(store::begin(&self.pool).await?)
    }

    /// A connection for a read of one statement.
    pub async fn connection(&self) -> Result<store::Connection, AppError> {
        Ok(store::acquire(&self.pool).await?)
    }
}

/// Who is asking.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Actor {
    /// Who.
    pub user: UserId,
    /// From which device.
    pub session: SessionId,
    /// Printed name.
    pub name: String,
    /// E-mail.
    pub email: String,
    /// May create users and projects.
    pub is_administrator: bool,
}

impl Actor {
    /// Refuses whoever is not a system administrator; `permission` names what that is needed for.
    pub fn require_administrator(&self, permission: &'static str) -> Result<(), AppError> {
        if self.is_administrator { Ok(()) } else { Err(AppError::Forbidden { permission }) }
    }
}

/// A new id that sorts by `now`.
pub fn new_id(now: DateTime<Utc>) -> Uuid {
    // Before 1970 there is nothing to sort.
    let seconds = u64::try_from(now.timestamp()).unwrap_or_default();
    Uuid::new_v7(Timestamp::from_unix(NoContext, seconds, now.timestamp_subsec_nanos()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_sort_by_time() {
        let early = DateTime::UNIX_EPOCH;
        let late = early + chrono::TimeDelta::milliseconds(1);
        assert!(new_id(early) < new_id(late));
        assert_ne!(new_id(late), new_id(late));
    }
}
