//! Quarantine of a lot, its lift, and the extension of its shelf life.

use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

use super::{Lot, Quarantine, ShelfLifeExtension};
use crate::ids::UserId;

/// An order to use a lot no more.
#[derive(Debug, Clone, PartialEq)]
pub struct Hold {
    /// Made by the client, so that a repeated send is recognised.
    pub id: Option<Uuid>,
    /// Since when the lot is bad; from now on if absent. What was found bad was bad when it was
    /// used: with a time in the past the lot counts as held at every use since.
    pub from: Option<DateTime<Utc>>,
    /// Why.
    pub reason: String,
}

/// The end of a quarantine.
#[derive(Debug, Clone, PartialEq)]
pub struct Lift {
    /// Why.
    pub reason: String,
    /// The suspicion was wrong: the lot counts as never held.
    pub unfounded: bool,
}

/// A longer shelf life.
#[derive(Debug, Clone, PartialEq)]
pub struct Extend {
    /// Last day it may be used.
    pub expires_on: NaiveDate,
    /// Number of the certificate.
    pub certificate: String,
    /// Why.
    pub reason: String,
}

/// Why it was not done.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum LotRefusal {
    /// What is said twice is said once.
    #[error("it is in quarantine since {since}; an earlier `from` would recall more of it")]
    AlreadyHeld {
        /// From when.
        since: DateTime<Utc>,
    },
    /// One id, two orders.
    #[error("another quarantine of this lot has this id: make a new one for new content")]
    IdReused,
    /// Nobody knows yet that it will be bad.
    #[error("must not be after now, which is {now}")]
    FromAhead {
        /// Now.
        now: DateTime<Utc>,
    },
    /// There is nothing to lift.
    #[error("it is not in quarantine")]
    NotHeld,
    /// First it has to be found good.
    #[error("it is in quarantine since {since}: lift that first")]
    Held {
        /// From when.
        since: DateTime<Utc>,
    },
    /// There is nothing to extend.
    #[error("it has no last day, so there is none to extend")]
    NeverExpires,
    /// An extension never shortens.
    #[error("must be after {last}, which is its last day now")]
    NotLonger {
        /// Its last day.
        last: NaiveDate,
    },
    /// Nothing is good before it is made.
    #[error("must not be before produced_on, which is {made}")]
    BeforeProduction {
        /// Production date.
        made: NaiveDate,
    },
}

fn has_ended(quarantine: &Quarantine, now: DateTime<Utc>) -> bool {
    quarantine.until.is_some_and(|until| until <= now)
}

impl Lot {
    /// The quarantines that have not ended at `now`.
    fn open(&self, now: DateTime<Utc>) -> impl Iterator<Item = &Quarantine> {
        self.quarantines.iter().filter(move |it| !has_ended(it, now))
    }

    /// The lot after it was put into quarantine; none if it is by this very order.
    pub fn held(
        &self,
        order: &Hold,
        now: DateTime<Utc>,
        by: UserId,
    ) -> Result<Option<Self>, LotRefusal> {
        let known = order.id.and_then(|id| self.quarantines.iter().find(|it| it.id == Some(id)));
        if let Some(known) = known {
            let same =
                known.reason == order.reason && order.from.is_none_or(|from| from == known.from);
            return if same { Ok(None) } else { Err(LotRefusal::IdReused) };
        }
        let from = order.from.unwrap_or(now);
        if from > now {
            return Err(LotRefusal::FromAhead { now });
        }
        if let Some(since) = self.open(now).map(|it| it.from).filter(|since| *since <= from).min() {
            return Err(LotRefusal::AlreadyHeld { since });
        }
        let mut lot = self.clone();
        lot.quarantines.push(Quarantine {
            id: order.id,
            decided_at: Some(now),
            decided_by: Some(by),
            ..Quarantine::of(from, None, &order.reason)
        });
        Ok(Some(lot))
    }

    /// The lot after its quarantine was lifted.
    pub fn lifted(&self, order: &Lift, now: DateTime<Utc>, by: UserId) -> Result<Self, LotRefusal> {
        if self.open(now).next().is_none() {
            return Err(LotRefusal::NotHeld);
        }
        let mut lot = self.clone();
        for held in lot.quarantines.iter_mut().filter(|it| !has_ended(it, now)) {
            // One that ends where it begins has held at no time, and stays as a record.
            held.until = Some(if order.unfounded { held.from } else { now.max(held.from) });
            held.lifted_by = Some(by);
            held.lift_reason = Some(order.reason.clone());
        }
        Ok(lot)
    }

    /// The lot with a longer shelf life; none if it has this very extension.
    pub fn extended(
        &self,
        order: &Extend,
        now: DateTime<Utc>,
        by: UserId,
    ) -> Result<Option<Self>, LotRefusal> {
        let newest = self.extensions.last();
        if newest.is_some_and(|it| {
            it.expires_on == order.expires_on && it.certificate == order.certificate
        }) {
            return Ok(None);
        }
        if let Some(since) = self.open(now).map(|it| it.from).min() {
            return Err(LotRefusal::Held { since });
        }
        let last = self.last_day_at(now).ok_or(LotRefusal::NeverExpires)?;
        if let Some(made) = self.produced_on.filter(|made| order.expires_on < *made) {
            return Err(LotRefusal::BeforeProduction { made });
        }
        if order.expires_on <= last {
            return Err(LotRefusal::NotLonger { last });
        }
        let mut lot = self.clone();
        lot.extensions.push(ShelfLifeExtension {
            expires_on: order.expires_on,
            certificate: order.certificate.clone(),
            reason: order.reason.clone(),
            approved_at: now,
            approved_by: by,
        });
        Ok(Some(lot))
    }
}
