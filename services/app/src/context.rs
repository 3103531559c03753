//! What every use case is handed.

use std::sync::Arc;

use auth::Hasher;
use chrono::{DateTime, Utc};
use domain::ids::{ProjectId, SessionId, UserId};
use store::{PgPool, Scope, Tx};
use uuid::{NoContext, Timestamp, Uuid};
use webhooks::{Reach, Sender};

use crate::{
    AppError, Clock,
    accounts::{KeyCache, Turns},
    feed::{Hub, Pace},
    imports::Places,
    mail::Mailer,
    seal::Sealer,
    setup::SetupCache,
    work,
};

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
    /// Whose turn it is to have a password looked at.
    pub turns: Turns,
    /// Set-ups that were read.
    pub setups: SetupCache,
    /// Those who follow the feeds of projects.
    pub hub: Hub,
    /// Where files wait on their way in.
    pub places: Places,
    /// The way out of the house.
    pub sender: Sender,
    /// The way to a mail server, where there is one.
    pub mailer: Option<Mailer>,
    /// What seals, where there is a key.
    pub sealer: Option<Sealer>,
}

impl App {
    /// Reads the keys that sign access tokens; makes the first one where there is none.
    pub async fn new(
        pool: PgPool,
        clock: Arc<dyn Clock>,
        hasher: Hasher,
    ) -> Result<Self, AppError> {
        let keys = KeyCache::load_or_create(&pool, clock.now()).await?;
        let (turns, setups) = (Turns::default(), SetupCache::default());
        let (hub, places) = (Hub::new(pool.clone(), Pace::default()), Places::default());
        let sender = Sender::new(Reach::Public);
        let (mailer, sealer) = (None, None);
        Ok(Self { pool, clock, hasher, keys, turns, setups, hub, places, sender, mailer, sealer })
    }

    /// The server as a worker needs it: it signs nobody in, so it is shown no keys.
    pub fn for_work(pool: PgPool, clock: Arc<dyn Clock>) -> Self {
        let (keys, turns, setups) = (KeyCache::default(), Turns::default(), SetupCache::default());
        let (hub, places) = (Hub::new(pool.clone(), Pace::default()), Places::default());
        let sender = Sender::new(Reach::Public);
        let (hasher, mailer, sealer) = (Hasher::new(1), None, None);
        Self { pool, clock, hasher, keys, turns, setups, hub, places, sender, mailer, sealer }
    }

    /// The same with another way out.
    #[must_use]
    pub fn sending_by(self, sender: Sender) -> Self {
        Self { sender, ..self }
    }

    /// The same with a way to a mail server.
    #[must_use]
    pub fn mailing_by(self, mailer: Option<Mailer>) -> Self {
        Self { mailer, ..self }
    }

    /// The same with what seals.
    #[must_use]
    pub fn sealing_by(self, sealer: Option<Sealer>) -> Self {
        Self { sealer, ..self }
    }

    /// Opens a transaction on what belongs to no project.
    pub async fn begin(&self) -> Result<Tx, AppError> {
        self.begin_with(Scope::default()).await
    }

    /// Opens a transaction that sees `project` and nothing of any other.
    pub async fn begin_in(&self, project: ProjectId) -> Result<Tx, AppError> {
        self.begin_with(Scope { project: Some(project), user: None }).await
    }

    /// The same, where every statement finds its rows by key: not for lists.
    pub async fn begin_by_key(&self, project: ProjectId) -> Result<Tx, AppError> {
        self.settle_earlier().await?;
        Ok(store::begin_by_key(&self.pool, project).await?)
    }

    /// Opens a transaction that sees the projects of `user`, but nothing in them.
    pub async fn begin_as(&self, user: UserId) -> Result<Tx, AppError> {
        self.begin_with(Scope { project: None, user: Some(user) }).await
    }

    async fn begin_with(&self, scope: Scope) -> Result<Tx, AppError> {
        self.settle_earlier().await?;
        Ok(store::begin(&self.pool, scope).await?)
    }

    /// A request that takes a second transaction gives up doing all of it or nothing.
    async fn settle_earlier(&self) -> Result<(), AppError> {
        match work::take() {
            Some(earlier) => Ok(store::commit(earlier).await?),
            None => Ok(()),
        }
    }

    /// Opens a transaction that reads `project` as it stands at this moment, whatever others do
    /// meanwhile.
    pub async fn snapshot_of(&self, project: ProjectId) -> Result<Tx, AppError> {
        Ok(store::begin_snapshot(&self.pool, project).await?)
    }

    /// Commits `tx`, or leaves that to whoever serves the request: see [`crate::work`].
    pub async fn commit(&self, tx: Tx) -> Result<(), AppError> {
        match work::keep(tx) {
            Some(tx) => Ok(store::commit(tx).await?),
            None => Ok(()),
        }
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
