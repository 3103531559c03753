//! What the places hold, and whether it is enough.

use std::collections::BTreeMap;

use rust_decimal::Decimal;

use super::{NewMovement, Place};

/// What each place holds of each lot, by location and lot: the order in which rows are locked.
pub type Balances = BTreeMap<(String, String), Decimal>;

/// A physical place that does not hold what is to be taken from it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shortage {
    /// Code of the place.
    pub location: String,
    /// Code of the lot.
    pub lot: String,
    /// How much is to be taken.
    pub wanted: Decimal,
    /// How much is there.
    pub left: Decimal,
}

/// What `movements` together add to each place, less what they take from it.
pub fn changes(movements: &[NewMovement]) -> Balances {
    let mut changes = Balances::new();
    for movement in movements {
        let quantity = movement.quantity.value();
        let mut add = |place: &str, quantity: Decimal| {
            *changes.entry((place.to_owned(), movement.lot.clone())).or_default() += quantity;
        };
        add(&movement.from, -quantity);
        add(&movement.to, quantity);
    }
    changes
}

/// Every physical place that `movements` together would bring under zero.
pub fn shortages(held: &Balances, movements: &[NewMovement]) -> Vec<Shortage> {
    let short = changes(movements).into_iter().filter_map(|((location, lot), change)| {
        let key = (location, lot);
        let left = held.get(&key).copied().unwrap_or_default();
        let (location, lot) = key;
        let is_short = Place::is_physical(&location) && left + change < Decimal::ZERO;
        is_short.then_some(Shortage { location, lot, wanted: -change, left })
    });
    short.collect()
}
