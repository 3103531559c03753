//! Looking at a password, so that guessing gets slower and nobody is shut out for ever.
//!
//! Wrong passwords are counted per account and per address. From an address that a user has signed
//! in from before, they are counted for that address alone, so that whoever guesses from elsewhere
//! does not hold the user up at their own desk.

use std::{
    collections::HashMap,
    net::IpAddr,
    sync::{Arc, Mutex, PoisonError},
};

use chrono::{DateTime, TimeDelta, Utc};
use domain::ids::UserId;
use secrecy::SecretString;
use store::{PgConnection, throttles::Subject};
use tokio::sync::{Mutex as Turn, OwnedMutexGuard};

use super::hashing;
use crate::{App, AppError};

/// After a day without a wrong password, those before are forgotten.
pub(crate) const FORGOTTEN_AFTER: TimeDelta = TimeDelta::days(1);

/// How often an address is remembered afresh: not with every signature.
const REMEMBERED_EVERY: TimeDelta = TimeDelta::days(1);

/// From where somebody asks.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Origin {
    /// Address, as far as it is known.
    pub address: Option<IpAddr>,
    /// What the device says of itself.
    pub device: Option<String>,
}

/// Whose password it is said to be.
pub(super) struct Account {
    /// What is counted where no user is known: the e-mail.
    pub name: String,
    /// The user, if there is one.
    pub user: Option<UserId>,
    /// The hash of their password.
    pub hash: Option<String>,
}

/// Whether `password` is that of `account`. A right one is forgiven all wrong ones before it.
///
/// # Errors
///
/// [`AppError::Throttled`] while there were too many wrong ones; the password is not looked at.
pub(super) async fn is_right(
    app: &App,
    account: &Account,
    password: SecretString,
    origin: &Origin,
) -> Result<bool, AppError> {
    let mut conn = app.connection().await?;
    let counted = Counted::of(&mut conn, account, origin).await?;
    // Hashing may queue for seconds; nobody else should wait for this connection meanwhile.
    drop(conn);
    // One at a time, or a thousand guesses sent at once would all be looked at.
    let _turn = app.turns.take(counted.account).await;

    let now = app.clock.now();
    let mut conn = app.connection().await?;
    let open_at = store::throttles::open_at(&mut conn, &counted.subjects()).await?;
    drop(conn);
    if let Some(wait) = open_at.map(|it| it - now).filter(|it| *it > TimeDelta::zero()) {
        return Err(AppError::Throttled { retry_after: wait });
    }
    let right = app.hasher.verify(password, account.hash.clone()).await.map_err(hashing)?;
    if right && open_at.is_none() && !counted.is_stale(now) {
        return Ok(true);
    }

    let mut conn = app.connection().await?;
    if right {
        store::throttles::forget(&mut conn, &counted.account).await?;
        if let (Some(user), Some(address)) = (account.user, &counted.address) {
            store::throttles::remember_address(&mut conn, user, address, now).await?;
        }
    } else {
        count(&mut conn, &counted, now).await?;
    }
    Ok(right)
}

/// What wrong passwords are counted on.
struct Counted {
    account: Subject,
    address: Option<Subject>,
    /// When the user was last remembered at the address.
    known: Option<DateTime<Utc>>,
}

impl Counted {
    async fn of(
        conn: &mut PgConnection,
        account: &Account,
        origin: &Origin,
    ) -> Result<Self, AppError> {
        let named = subject("account", &account.name);
        let Some(address) = origin.address.map(|it| subject("address", &it.to_string())) else {
            return Ok(Self { account: named, address: None, known: None });
        };
        let known = match account.user {
            Some(user) => store::throttles::known_since(conn, user, &address).await?,
            None => None,
        };
        let both = || hex::encode([named.as_slice(), address.as_slice()].concat());
        let account = if known.is_some() { subject("account at home", &both()) } else { named };
        Ok(Self { account, address: Some(address), known })
    }

    fn subjects(&self) -> Vec<Subject> {
        // At home, what others do wrong at the same address does not hold anybody up.
        let address = self.address.filter(|_| self.known.is_none());
        std::iter::once(self.account).chain(address).collect()
    }

    /// Whether the address is to be remembered afresh.
    fn is_stale(&self, now: DateTime<Utc>) -> bool {
        self.address.is_some() && self.known.is_none_or(|at| now - at > REMEMBERED_EVERY)
    }
}

async fn count(
    conn: &mut PgConnection,
    counted: &Counted,
    now: DateTime<Utc>,
) -> Result<(), AppError> {
    let forgotten = now - FORGOTTEN_AFTER;
    let pauses = [auth::account_pause as fn(i32) -> TimeDelta, auth::address_pause];
    for (subject, pause) in counted.subjects().into_iter().zip(pauses) {
        let failures = store::throttles::count(conn, &subject, now, forgotten).await?;
        store::throttles::close(conn, &subject, now + pause(failures)).await?;
    }
    Ok(())
}

fn subject(kind: &str, name: &str) -> Subject {
    auth::hash_token(&format!("{kind}\0{name}"))
}

/// Whose turn it is to have a password looked at, per account.
#[derive(Debug, Clone, Default)]
pub struct Turns(Arc<Mutex<HashMap<Subject, Arc<Turn<()>>>>>);

impl Turns {
    async fn take(&self, subject: Subject) -> OwnedMutexGuard<()> {
        let turn = {
            let mut turns = self.0.lock().unwrap_or_else(PoisonError::into_inner);
            // Those that nobody holds or waits for.
            turns.retain(|_, turn| Arc::strong_count(turn) > 1);
            Arc::clone(turns.entry(subject).or_default())
        };
        turn.lock_owned().await
    }
}
