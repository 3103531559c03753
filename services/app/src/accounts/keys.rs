//! The keys that sign access tokens, as this server knows them.

use std::sync::{Arc, PoisonError, RwLock};

use auth::{AccessClaims, Keys, TokenError, TokenKey};
use chrono::{DateTime, TimeDelta, Utc};
use store::{PgConnection, PgPool, Scope};

use super::tokens::ACCESS_LIFETIME;
use crate::{AppError, new_id};

/// Tokens with made-up keys must not become a query each.
const RELOAD_PAUSE: TimeDelta = TimeDelta::seconds(5);

/// So soon every server signs with a new key.
const RELOAD_EVERY: TimeDelta = TimeDelta::minutes(1);

struct Loaded {
    keys: Keys,
    at: DateTime<Utc>,
}

/// Keys read from the database; read again when a token names one that another server made. A
/// process that only works off jobs has none: it signs nobody in.
#[derive(Clone, Default)]
pub struct KeyCache(Arc<RwLock<Option<Loaded>>>);

impl KeyCache {
    /// Reads the keys; makes the first one where there is none that signs.
    pub async fn load_or_create(pool: &PgPool, now: DateTime<Utc>) -> Result<Self, AppError> {
        let mut tx = store::begin(pool, Scope::default()).await?;
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
        Ok(Self(Arc::new(RwLock::new(Some(Loaded { keys: keys(stored)?, at: now })))))
    }

    /// Makes a new key that signs from now on; the others verify for one more token lifetime.
    /// Returns how many that were.
    pub async fn rotate(pool: &PgPool, now: DateTime<Utc>) -> Result<u64, AppError> {
        let mut tx = store::begin(pool, Scope::default()).await?;
        store::token_keys::lock(&mut tx).await?;
        let kid = new_id(now).to_string();
        let key = TokenKey::generate(kid).map_err(|error| AppError::internal(&error))?;
        store::token_keys::insert(&mut tx, &key.kid, &key.pkcs8_der, now).await?;
        let retired = store::token_keys::retire_others(&mut tx, &key.kid, now).await?;
        store::commit(tx).await?;
        Ok(retired)
    }

    /// The keys as last read.
    pub fn current(&self) -> Result<Keys, AppError> {
        let loaded = self.0.read().unwrap_or_else(PoisonError::into_inner);
        let keys = loaded.as_ref().map(|it| it.keys.clone());
        keys.ok_or_else(|| AppError::Internal("this process has no token keys".to_owned()))
    }

    /// What `token` says, if it is one of ours and valid at `now`.
    pub async fn verify(
        &self,
        conn: &mut PgConnection,
        token: &str,
        now: DateTime<Utc>,
    ) -> Result<Result<AccessClaims, TokenError>, AppError> {
        // Now and then anyway: the key that signs may have been retired meanwhile.
        if self.take_reload(now, RELOAD_EVERY) {
            self.reload(conn, now).await?;
        }
        match self.current()?.verify(token, now) {
            Err(TokenError::UnknownKey) if self.take_reload(now, RELOAD_PAUSE) => {
                self.reload(conn, now).await?;
                Ok(self.current()?.verify(token, now))
            }
            answer => Ok(answer),
        }
    }

    async fn reload(&self, conn: &mut PgConnection, now: DateTime<Utc>) -> Result<(), AppError> {
        let keys = keys(store::token_keys::list(conn, now - grace()).await?)?;
        *self.0.write().unwrap_or_else(PoisonError::into_inner) = Some(Loaded { keys, at: now });
        Ok(())
    }

    /// Whether it is time again, and if so, not for others until the pause is over.
    fn take_reload(&self, now: DateTime<Utc>, pause: TimeDelta) -> bool {
        let due = |loaded: &Option<Loaded>| {
            loaded.as_ref().is_some_and(|loaded| now - loaded.at >= pause)
        };
        if !due(&self.0.read().unwrap_or_else(PoisonError::into_inner)) {
            return false;
        }
        let mut loaded = self.0.write().unwrap_or_else(PoisonError::into_inner);
        let take = due(&loaded);
        if let Some(loaded) = loaded.as_mut().filter(|_| take) {
            loaded.at = now;
        }
        take
    }
}

/// How long a retired key still verifies: as long as the last token that a server signed with it
/// before it heard of the new one.
fn grace() -> TimeDelta {
    ACCESS_LIFETIME + auth::LEEWAY + RELOAD_EVERY
}

fn keys(stored: Vec<store::token_keys::StoredKey>) -> Result<Keys, AppError> {
    let keys = stored.into_iter().map(|it| TokenKey { kid: it.kid, pkcs8_der: it.pkcs8 });
    Keys::new(keys.collect()).map_err(|error| AppError::internal(&error))
}
