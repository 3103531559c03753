//! First expired, first out.
//!
//! The lot with the soonest last day first, lots without one last; of equal days the one received
//! first, then by code. Common practice, no source.

use chrono::{DateTime, NaiveDate, Utc};
use rust_decimal::Decimal;

use super::Quantity;

/// A lot at one place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LotOnHand {
    /// Code.
    pub lot: String,
    /// How much of it is there.
    pub quantity: Decimal,
    /// The last day it may be used.
    pub last_day: Option<NaiveDate>,
    /// When it was first received.
    pub received_at: Option<DateTime<Utc>>,
    /// Why it is in quarantine, if it is.
    pub quarantined: Option<String>,
}

/// Why a lot may not be handed out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Blocked {
    /// Its last day is past.
    Expired {
        /// That day.
        last_day: NaiveDate,
    },
    /// It is put aside.
    Quarantined {
        /// Why.
        reason: String,
    },
}

impl LotOnHand {
    /// Every reason not to hand it out on `day`.
    pub fn blocked(&self, day: NaiveDate) -> Vec<Blocked> {
        let expired = self.last_day.filter(|last| *last < day);
        let expired = expired.map(|last_day| Blocked::Expired { last_day });
        let reason = self.quarantined.clone();
        expired.into_iter().chain(reason.map(|reason| Blocked::Quarantined { reason })).collect()
    }

    /// Whether it is there and may be handed out on `day`.
    pub fn is_usable(&self, day: NaiveDate) -> bool {
        self.quantity > Decimal::ZERO && self.blocked(day).is_empty()
    }

    /// Whether it has to go strictly before `other`: receipt and code break ties, they are no rule.
    pub fn expires_before(&self, other: &Self) -> bool {
        match (self.last_day, other.last_day) {
            (Some(mine), Some(theirs)) => mine < theirs,
            (Some(_), None) => true,
            (None, _) => false,
        }
    }
}

/// The lots that may be handed out on `day`, in the order in which they should be.
pub fn first_expired_first(lots: &[LotOnHand], day: NaiveDate) -> Vec<&LotOnHand> {
    let mut usable: Vec<&LotOnHand> = lots.iter().filter(|lot| lot.is_usable(day)).collect();
    usable.sort_by(|one, other| {
        // What has no day, or no receipt, comes last.
        let day = |lot: &LotOnHand| (lot.last_day.is_none(), lot.last_day);
        let receipt = |lot: &LotOnHand| (lot.received_at.is_none(), lot.received_at);
        day(one)
            .cmp(&day(other))
            .then_with(|| receipt(one).cmp(&receipt(other)))
            .then_with(|| one.lot.cmp(&other.lot))
    });
    usable
}

/// How much to take of a lot.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Part {
    /// Code of the lot.
    pub lot: String,
    /// How much.
    pub quantity: Quantity,
}

/// Which lots to take.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Proposal {
    /// The lots in order; together at most what was asked for.
    pub parts: Vec<Part>,
    /// What there is for use in all.
    pub usable: Decimal,
}

/// Fills `wanted` from `lots` in their order on `day`, as far as they go.
pub fn propose(lots: &[LotOnHand], wanted: Quantity, day: NaiveDate) -> Proposal {
    let ordered = first_expired_first(lots, day);
    let usable = ordered.iter().map(|lot| lot.quantity).sum();
    let mut missing = wanted.value();
    let mut parts = Vec::new();
    for lot in ordered {
        // Nothing is taken once nothing is missing: a quantity is more than zero.
        if let Ok(quantity) = Quantity::new(missing.min(lot.quantity)) {
            missing -= quantity.value();
            parts.push(Part { lot: lot.lot.clone(), quantity });
        }
    }
    Proposal { parts, usable }
}
