//! When the stock runs out: a simulation day by day, first-expired-first-out.

use std::{cmp::Reverse, collections::BinaryHeap};

use chrono::{Days, NaiveDate};

use crate::{
    input::{Faults, InputError},
    stock::{Horizon, ROUNDING, StockDelivery, StockLot, StockSource, check_stock},
};

/// One material, its demand and the days to look ahead.
#[derive(Debug, Clone, PartialEq)]
pub struct RunOutInput<'a> {
    /// The first day.
    pub start_on: NaiveDate,
    /// How many days, 1 to [`MAX_HORIZON_DAYS`](crate::MAX_HORIZON_DAYS).
    pub days: u32,
    /// On hand on the first day.
    pub lots: &'a [StockLot],
    /// Expected.
    pub deliveries: &'a [StockDelivery],
    /// One value a day from the first; 0 afterwards. What is beyond the horizon is not looked at.
    pub demand: &'a [f64],
    /// From order to delivery, calendar days.
    pub lead_time_days: u32,
    /// Kept as a reserve of time, calendar days.
    pub safety_days: u32,
}

/// A quantity that is left when the last day it may be used on has passed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ExpiringUnused {
    /// Where it came from.
    pub source: StockSource,
    /// Its last day.
    pub expires_on: NaiveDate,
    /// How much.
    pub quantity: f64,
}

/// What becomes of the stock. At the end of the horizon
/// lots + arrived deliveries = used + last value of `on_hand` + `expiring_unused` +
/// `expired_before_start`.
#[derive(Debug, Clone, PartialEq)]
pub struct RunOut {
    /// The first day with a shortage.
    pub run_out_on: Option<NaiveDate>,
    /// Days before it that were met in full; all days where there is none.
    pub days_of_cover: u32,
    /// Total that could not be met. A day's shortage is not carried over.
    pub shortage: f64,
    /// The last day to order on so that the goods come `safety_days` before the run-out; may lie
    /// in the past. None without a run-out.
    pub order_by: Option<NaiveDate>,
    /// What is left when its last day passes, for every last day within the horizon; in the
    /// order of the last days.
    pub expiring_unused: Vec<ExpiringUnused>,
    /// What had expired before the first day already: on hand, never usable.
    pub expired_before_start: Vec<ExpiringUnused>,
    /// Usable quantity at the end of each day, without what expired with that day.
    pub on_hand: Vec<f64>,
    /// Total that was used.
    pub used: f64,
}

/// Runs the days in turn: deliveries of the day arrive first; a lot may be used up to and
/// including its last day; demand is met first-expired-first-out (what does not expire comes last;
/// ties in the order given, lots before deliveries); what can't be met is that day's shortage.
///
/// Takes O(days + n log n) for n lots and deliveries. Shortages and rests of less than a
/// thousand-millionth of the quantity they belong to are rounding, and none. Quantities and demand
/// must be 0 or more and have a finite sum.
pub fn run_out(input: &RunOutInput<'_>) -> Result<RunOut, InputError> {
    let horizon = check(input)?;
    let start_on = input.start_on;
    let mut store = Store::default();
    for (index, lot) in input.lots.iter().enumerate() {
        let source = StockSource::Lot(index);
        store.receive(source, lot.quantity, lot.expires_on, (start_on, start_on));
    }
    let mut arriving = arrivals(input.deliveries, horizon).into_iter().peekable();
    let mut first_short = None;
    let mut shortage = 0.0;
    let mut on_hand = Vec::with_capacity(horizon.days);
    for (day, today) in start_on.iter_days().take(horizon.days).enumerate() {
        while let Some((_, index)) = arriving.next_if(|(on, _)| *on == day) {
            let delivery = &input.deliveries[index];
            let source = StockSource::Delivery(index);
            store.receive(source, delivery.quantity, delivery.expires_on, (today, start_on));
        }
        let demand = input.demand.get(day).copied().unwrap_or(0.0);
        let short = store.issue(demand);
        if short > 0.0 {
            first_short.get_or_insert(day);
            shortage += short;
        }
        store.expire(today);
        on_hand.push(store.usable);
    }
    // What comes expired was noted on the day it came, after its last day.
    store.expired.sort_by_key(|unused| unused.expires_on);
    let run_out_on = first_short.and_then(|day| horizon.date(day));
    let ahead = Days::new(u64::from(input.lead_time_days) + u64::from(input.safety_days));
    Ok(RunOut {
        run_out_on,
        days_of_cover: first_short.map_or(Ok(input.days), u32::try_from).unwrap_or(input.days),
        shortage,
        order_by: run_out_on.and_then(|on| on.checked_sub_days(ahead)),
        expiring_unused: store.expired,
        expired_before_start: store.expired_before,
        on_hand,
        used: store.used,
    })
}

fn check(input: &RunOutInput<'_>) -> Result<Horizon, InputError> {
    let mut faults = Faults::default();
    let horizon = Horizon::new(input.start_on, input.days, &mut faults);
    check_stock(input.lots, input.deliveries, &mut faults);
    let demand = input.demand.iter().copied();
    faults.each_at_least_zero(demand.clone(), |index| format!("demand/{index}"));
    faults.finite_sum("demand", demand.take(horizon.days));
    faults.check()?;
    Ok(horizon)
}

/// The deliveries within the horizon by day, then in the order given.
fn arrivals(deliveries: &[StockDelivery], horizon: Horizon) -> Vec<(usize, usize)> {
    let days = deliveries.iter().enumerate();
    let mut arrivals: Vec<_> =
        days.filter_map(|(index, delivery)| Some((horizon.day(delivery.on)?, index))).collect();
    arrivals.sort_unstable();
    arrivals
}

/// Orders by last day, then lots before deliveries, then as given.
type Rank = (NaiveDate, bool, usize);

#[derive(Debug, Clone, Copy)]
struct Held {
    source: StockSource,
    received: f64,
    left: f64,
}

/// What is usable now, the first to expire on top.
#[derive(Debug, Default)]
struct Store {
    order: BinaryHeap<Reverse<(Rank, usize)>>,
    held: Vec<Held>,
    usable: f64,
    used: f64,
    expired: Vec<ExpiringUnused>,
    expired_before: Vec<ExpiringUnused>,
}

impl Store {
    fn receive(
        &mut self,
        source: StockSource,
        quantity: f64,
        expires_on: Option<NaiveDate>,
        (day, start_on): (NaiveDate, NaiveDate),
    ) {
        if quantity <= 0.0 {
            return;
        }
        if let Some(expires_on) = expires_on.filter(|on| *on < day) {
            let unused = ExpiringUnused { source, expires_on, quantity };
            if expires_on < start_on { &mut self.expired_before } else { &mut self.expired }
                .push(unused);
            return;
        }
        let (late, index) = match source {
            StockSource::Lot(index) => (false, index),
            StockSource::Delivery(index) => (true, index),
        };
        let rank = (expires_on.unwrap_or(NaiveDate::MAX), late, index);
        self.order.push(Reverse((rank, self.held.len())));
        self.held.push(Held { source, received: quantity, left: quantity });
        self.usable += quantity;
    }

    /// Uses up to `demand` and answers what could not be met.
    fn issue(&mut self, demand: f64) -> f64 {
        let mut open = demand;
        while open > demand * ROUNDING {
            let Some(Reverse((_, place))) = self.order.peek() else { break };
            let held = &mut self.held[*place];
            let taken = held.left.min(open);
            held.left -= taken;
            open -= taken;
            self.usable -= taken;
            self.used += taken;
            if held.left <= held.received * ROUNDING {
                self.usable -= held.left;
                self.order.pop();
            }
        }
        if self.order.is_empty() {
            self.usable = 0.0;
        }
        if open > demand * ROUNDING { open } else { 0.0 }
    }

    /// Takes out what can't be used after `day`.
    fn expire(&mut self, day: NaiveDate) {
        while let Some(Reverse(((expires_on, ..), place))) = self.order.peek().copied() {
            if expires_on > day || expires_on == NaiveDate::MAX {
                return;
            }
            let held = self.held[place];
            self.expired.push(ExpiringUnused {
                source: held.source,
                expires_on,
                quantity: held.left,
            });
            self.usable -= held.left;
            self.order.pop();
        }
        self.usable = 0.0;
    }
}
