//! What stands in a store and what is on its way to it.

use chrono::{Days, NaiveDate};

use crate::input::Faults;

/// The longest horizon of a forecast, days: ten years.
pub const MAX_HORIZON_DAYS: u32 = 3660;

/// A quantity on hand at the start. Any unit, the same for all quantities of one material.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StockLot {
    /// How much.
    pub quantity: f64,
    /// The last day it may be used on; none = it does not expire.
    pub expires_on: Option<NaiveDate>,
}

/// A quantity that is expected.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StockDelivery {
    /// The day it arrives; it can be used on that day. A delivery before the first day or after
    /// the last never arrives within the forecast.
    pub on: NaiveDate,
    /// How much.
    pub quantity: f64,
    /// The last day it may be used on; none = it does not expire.
    pub expires_on: Option<NaiveDate>,
}

/// Where a quantity came from: the index of its lot, or of its delivery, in the input.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum StockSource {
    /// A lot on hand at the start.
    Lot(usize),
    /// A delivery.
    Delivery(usize),
}

/// Days counted from the start of a forecast, the first being 0.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Horizon {
    pub(crate) start_on: NaiveDate,
    pub(crate) days: usize,
}

impl Horizon {
    /// A horizon to be used only if no fault was added.
    pub(crate) fn new(start_on: NaiveDate, days: u32, faults: &mut Faults) -> Self {
        if !(1..=MAX_HORIZON_DAYS).contains(&days) {
            let allowed = format!("it must be 1 to {MAX_HORIZON_DAYS} days");
            faults.refuse("days", format!("{days} is not allowed: {allowed}"));
        } else if start_on.checked_add_days(Days::new(u64::from(days))).is_none() {
            faults.refuse("start_on", "the horizon ends after the last date");
        }
        Self { start_on, days: usize::try_from(days).unwrap_or(usize::MAX) }
    }

    /// The date of a day of the horizon.
    pub(crate) fn date(self, day: usize) -> Option<NaiveDate> {
        self.start_on.checked_add_days(Days::new(u64::try_from(day).ok()?))
    }

    /// The day of a date, where it is within the horizon.
    pub(crate) fn day(self, date: NaiveDate) -> Option<usize> {
        let day = usize::try_from((date - self.start_on).num_days()).ok()?;
        Some(day).filter(|day| *day < self.days)
    }
}

/// Every quantity is 0 or more, and all of them together are still a number.
pub(crate) fn check_stock(lots: &[StockLot], deliveries: &[StockDelivery], faults: &mut Faults) {
    let quantities = lots.iter().map(|lot| lot.quantity);
    faults.each_at_least_zero(quantities, |index| format!("lots/{index}/quantity"));
    let quantities = deliveries.iter().map(|delivery| delivery.quantity);
    faults.each_at_least_zero(quantities, |index| format!("deliveries/{index}/quantity"));
    let on_hand = lots.iter().map(|lot| lot.quantity);
    let expected = deliveries.iter().map(|delivery| delivery.quantity);
    if faults.finite_sum("lots", on_hand.clone()) {
        faults.finite_sum("deliveries", on_hand.chain(expected));
    }
}

/// Sums and differences of quantities are rounded in their last digits: a rest or a shortage of
/// less than this share of what it is left of is none.
pub(crate) const ROUNDING: f64 = 1e-9;
