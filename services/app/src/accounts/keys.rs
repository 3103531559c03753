//! The keys that sign access tokens, as this server knows them.

use std::sync::{Arc, PoisonError, RwLock};

use auth::{AccessClaims, Keys, TokenError, TokenKey};
use chrono::{DateTime, TimeDelta, Utc};
use store::{PgConnection, PgPool};

use super::tokens::ACCESS_LIFETIME;
use crate::{AppError, new_id};

/// Tokens with made-up keys must not become a query each.
const RELOAD_PAUSE: TimeDelta = TimeDelta::seconds(5);

struct Loaded {
    keys: Keys,
    at: DateTime<Utc>,
}

/// Keys read from the database; read again when a token names one that another server made.
#[derive(Clone)]
pub struct KeyCache(Arc<RwLock<Loaded>>);

impl KeyCache {
    /// Reads the keys; makes the first one where there is none that signs.
    pub async fn load_or_create(pool: &PgPool, now: DateTime<Utc>) -> Result<Self, AppError> {
        let mut tx = store::begin(pool).await?;
        // Servers that start together must end up with the same key.
        store::token_keys::lock(&mut tx).await?;
        let mut stored = store::token_keys::list(&mut tx, now - grace()).await?;
        if stored.iter().all(|key| key.retired_at.is_some()) {
            let kid = new_id(now).to_string();
            let key = TokenKey::generate(kid).map_err(|error| AppError::internal(&error))?;
            store::token_keys::insert(&mut tx, &key.kid, &key.pkcs8_der, now).await?;
            stored = store::token_keys::list(&mut tx, now - grace()).await?;
        }
        store::commit(tx).await?;
        Ok(Self(Arc::new(RwLock::new(Loaded { keys: keys(stored)?, at: now }))))
    }

    /// The keys as last read.
    pub fn current(&self) -> Keys {
        self.0.read().unwrap_or_else(PoisonError::into_inner).keys.clone()
    }

    /// What `token` says, if it is one of ours and valid at `now`.
    pub async fn verify(
        &self,
        conn: &mut PgConnection,
        token: &str,
        now: DateTime<Utc>,
    ) -> Result<Result<AccessClaims, TokenError>, AppError> {
        match self.current().verify(token, now) {
            Err(TokenError::UnknownKey) if self.may_reload(now) => {
                let stored = store::token_keys::list(conn, now - grace()).await?;
                let keys = keys(stored)?;
                self.0.write().unwrap_or_else(PoisonError::into_inner).keys = keys.clone();
                Ok(keys.verify(token, now))
            }
            answer => Ok(answer),
        }
    }

    /// Whether it is time again, and if so, not for others until the pause is over.
    fn may_reload(&self, now: DateTime<Utc>) -> bool {
        let mut loaded = self.0.write().unwrap_or_else(PoisonError::into_inner);
        let due = now - loaded.at >= RELOAD_PAUSE;
        if due {
            loaded.at = now;
        }
        due
    }
}

/// How long a retired key still verifies: as long as the last token it signed.
fn grace() -> TimeDelta {
    ACCESS_LIFETIME + auth::LEEWAY
}

fn keys(stored: Vec<store::token_keys::StoredKey>) -> Result<Keys, AppError> {
    let keys = stored.into_iter().map(|it| TokenKey { kid: it.kid, pkcs8_der: it.pkcs8 });
    Keys::new(keys.collect()).map_err(|error| AppError::internal(&error))
}
