//! When the stock may run out, by simulation over the site's own days.

use std::{
    collections::BTreeMap,
    num::NonZeroUsize,
    panic,
    sync::atomic::{AtomicUsize, Ordering},
    thread,
};

use chrono::NaiveDate;

use crate::{
    buckets::Buckets,
    input::{Faults, InputError},
    random::{SplitMix64, pick},
    stock::{Horizon, ROUNDING, StockDelivery, StockLot, check_stock},
};

/// Most paths of one simulation.
pub const MAX_PATHS: u32 = 1_000_000;

/// One material, and the days of the site that the coming ones are drawn from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SimulationInput<'a> {
    /// The first day.
    pub start_on: NaiveDate,
    /// How many days, 1 to [`MAX_HORIZON_DAYS`](crate::MAX_HORIZON_DAYS).
    pub days: u32,
    /// On hand on the first day.
    pub lots: &'a [StockLot],
    /// Expected.
    pub deliveries: &'a [StockDelivery],
    /// What the site made on each recorded working day (joints, usually); at least one record.
    pub production: &'a [f64],
    /// What one made unit takes off the stock by its take-off, without waste.
    pub quantity_per_unit: f64,
    /// Recorded waste factors, used over taken off, such as 1.06; none = no waste.
    pub waste_factors: &'a [f64],
    /// Which share of each day can be worked, 0 to 1: 0 on days off, less than 1 where weather
    /// allows a part; 1 on the days after the last given.
    pub working_share: &'a [f64],
    /// Units left to make in the project; then demand ends. None = without end.
    pub units_left: Option<f64>,
    /// How many courses of events, 1 to [`MAX_PATHS`].
    pub paths: u32,
    /// The same seed gives the same answer on every machine. Two materials with the same seed see
    /// the same production on the same day of the same path.
    pub seed: u64,
}

/// How the simulated paths end.
#[derive(Debug, Clone, PartialEq)]
pub struct SimulatedRunOut {
    /// How many paths there were.
    pub paths: u32,
    /// The earliest day on or before which at least 10 % of the paths have run out; none where
    /// fewer do so within the horizon.
    pub p10: Option<NaiveDate>,
    /// The same with 50 %.
    pub p50: Option<NaiveDate>,
    /// The same with 90 %.
    pub p90: Option<NaiveDate>,
    /// Share of the paths that run out within the horizon.
    pub run_out_chance: f64,
    /// The first delivery of more than 0 that is usable on arrival, after the first day, within the
    /// horizon or beyond it.
    pub next_delivery_on: Option<NaiveDate>,
    /// Share of the paths that run out before that delivery arrives; within the horizon, where it
    /// comes later. None without a delivery.
    pub dry_before_next_delivery_chance: Option<f64>,
    /// Paths that run out on each day of the horizon.
    pub run_out_counts: Vec<u32>,
}

/// Simulates one material. On every path each working day's production and waste factor are drawn
/// with replacement from the records (the bootstrap), independent of each other and of the day
/// before; stock is used as in [`run_out`](crate::run_out), to the first day with a shortage.
///
/// Takes O(n log n) once for n lots and deliveries. What arrives on one day and expires on one day
/// is one arrival: with m of these a path takes O(days + m log m). Memory does not grow with the
/// paths. Quantities must have a finite sum, and the most that one day can take off must be finite.
pub fn simulate_run_out(input: &SimulationInput<'_>) -> Result<SimulatedRunOut, InputError> {
    let horizon = check(input)?;
    let plan = Plan::new(input, horizon);
    let mut counts = vec![0_u32; horizon.days];
    let mut stock = Buckets::default();
    for path in 0..input.paths {
        let mut random = SplitMix64::stream(input.seed, u64::from(path));
        if let Some(day) = plan.first_shortage(&mut stock, &mut random) {
            counts[day] += 1;
        }
    }
    Ok(summary(input, horizon, counts))
}

/// Simulates many materials on that many threads; the answers are in the order of the inputs and
/// do not depend on the threads.
pub fn simulate_run_outs(
    inputs: &[SimulationInput<'_>],
    threads: NonZeroUsize,
) -> Vec<Result<SimulatedRunOut, InputError>> {
    let next = AtomicUsize::new(0);
    let work = || {
        let mut done = Vec::new();
        loop {
            let index = next.fetch_add(1, Ordering::Relaxed);
            let Some(input) = inputs.get(index) else { return done };
            done.push((index, simulate_run_out(input)));
        }
    };
    let mut answers = thread::scope(|scope| {
        let workers: Vec<_> =
            (0..threads.get().min(inputs.len())).map(|_| scope.spawn(work)).collect();
        let joined = workers.into_iter().map(|worker| match worker.join() {
            Ok(done) => done,
            Err(panicked) => panic::resume_unwind(panicked),
        });
        joined.flatten().collect::<Vec<_>>()
    });
    answers.sort_unstable_by_key(|(index, _)| *index);
    answers.into_iter().map(|(_, answer)| answer).collect()
}

/// Lots and deliveries poured together by their last day: first-expired-first-out does not tell
/// apart what expires on the same day, so a path walks over at most one bucket a day instead of
/// over the lots.
struct Plan {
    /// Quantity of each bucket on the first day, in the order of the last days.
    at_start: Vec<f64>,
    /// For each day the first bucket that can still be used.
    first_alive: Vec<usize>,
    /// What arrives after the first day: its day and bucket, and how much; by day.
    arrivals: Vec<((usize, usize), f64)>,
    /// What each recorded day would take off, without waste, and how many units it made.
    units: Vec<f64>,
    quantity_per_unit: f64,
    waste_factors: Vec<f64>,
    working_share: Vec<f64>,
    units_left: f64,
}

impl Plan {
    fn new(input: &SimulationInput<'_>, horizon: Horizon) -> Self {
        // What lasts to the end of the horizon or longer shares the last bucket.
        let never = horizon.days - 1;
        let last_day = |expires_on: Option<NaiveDate>| match expires_on {
            Some(on) if on < horizon.start_on => None,
            Some(on) => Some(horizon.day(on).unwrap_or(never)),
            None => Some(never),
        };
        let lots = input.lots.iter();
        let mut stock: Vec<(usize, usize, f64)> =
            lots.filter_map(|lot| Some((0, last_day(lot.expires_on)?, lot.quantity))).collect();
        stock.extend(input.deliveries.iter().filter_map(|delivery| {
            let on = horizon.day(delivery.on)?;
            let last = last_day(delivery.expires_on).filter(|last| *last >= on)?;
            Some((on, last, delivery.quantity))
        }));
        let mut last_days: Vec<usize> = stock.iter().map(|(_, last, _)| *last).collect();
        last_days.sort_unstable();
        last_days.dedup();
        let mut at_start = vec![0.0; last_days.len()];
        let mut arrivals = BTreeMap::new();
        for (on, last, quantity) in stock {
            let bucket = last_days.partition_point(|day| *day < last);
            if on == 0 {
                at_start[bucket] += quantity;
            } else {
                *arrivals.entry((on, bucket)).or_default() += quantity;
            }
        }
        let alive = |day| last_days.partition_point(|last| *last < day);
        let mut working_share = input.working_share.to_vec();
        working_share.resize(horizon.days, 1.0);
        let none = input.waste_factors.is_empty();
        Self {
            at_start,
            first_alive: (0..horizon.days).map(alive).collect(),
            arrivals: arrivals.into_iter().collect(),
            units: input.production.to_vec(),
            quantity_per_unit: input.quantity_per_unit,
            waste_factors: if none { vec![1.0] } else { input.waste_factors.to_vec() },
            working_share,
            units_left: input.units_left.unwrap_or(f64::INFINITY),
        }
    }

    /// Runs one path to its first day with a shortage.
    #[expect(clippy::cast_possible_truncation, reason = "each half of the bits is used once")]
    fn first_shortage(&self, stock: &mut Buckets, random: &mut SplitMix64) -> Option<usize> {
        let mut arriving = self.arrivals.as_slice();
        let mut units_left = self.units_left;
        let mut left = stock.fill(&self.at_start);
        for (day, (share, alive)) in self.working_share.iter().zip(&self.first_alive).enumerate() {
            left = stock.expire(left, *alive);
            while let Some((((on, into), quantity), later)) = arriving.split_first() {
                if *on > day {
                    break;
                }
                left = stock.pour(left, *into, *quantity);
                arriving = later;
            }
            let bits = random.next();
            let units = (share * pick(&self.units, (bits >> 32) as u32)).min(units_left);
            units_left -= units;
            let waste = pick(&self.waste_factors, bits as u32);
            let demand = units * self.quantity_per_unit * waste;
            let mut open = demand;
            while left < open {
                open -= left;
                if open <= demand * ROUNDING {
                    left = 0.0;
                    break;
                }
                let Some(next) = stock.advance() else { return Some(day) };
                left = next;
            }
            left -= open.min(left);
        }
        None
    }
}

fn summary(input: &SimulationInput<'_>, horizon: Horizon, counts: Vec<u32>) -> SimulatedRunOut {
    let share = |count: u32| f64::from(count) / f64::from(input.paths);
    let quantile = |percent: u64| {
        let mut total = 0;
        let reached = counts.iter().position(|count| {
            total += u64::from(*count) * 100;
            total >= percent * u64::from(input.paths)
        });
        reached.and_then(|day| horizon.date(day))
    };
    let later = input.deliveries.iter().filter(|it| it.on > input.start_on && it.quantity > 0.0);
    let usable = later.filter(|it| it.expires_on.is_none_or(|last| last >= it.on));
    let next_delivery_on = usable.map(|delivery| delivery.on).min();
    let dry = next_delivery_on.map(|on| {
        let before = horizon.day(on).unwrap_or(horizon.days);
        share(counts[..before].iter().sum())
    });
    SimulatedRunOut {
        paths: input.paths,
        p10: quantile(10),
        p50: quantile(50),
        p90: quantile(90),
        run_out_chance: share(counts.iter().sum()),
        next_delivery_on,
        dry_before_next_delivery_chance: dry,
        run_out_counts: counts,
    }
}

fn check(input: &SimulationInput<'_>) -> Result<Horizon, InputError> {
    let mut faults = Faults::default();
    let horizon = Horizon::new(input.start_on, input.days, &mut faults);
    check_stock(input.lots, input.deliveries, &mut faults);
    if input.production.is_empty() {
        faults.refuse("production", "at least one recorded working day is needed");
    }
    let made = input.production.iter().copied();
    faults.each_at_least_zero(made, |index| format!("production/{index}"));
    faults.at_least_zero("quantity_per_unit", input.quantity_per_unit);
    check_demand(input, &mut faults);
    for (index, factor) in input.waste_factors.iter().enumerate() {
        faults.over_zero(&format!("waste_factors/{index}"), *factor);
    }
    for (index, share) in input.working_share.iter().enumerate() {
        let pointer = format!("working_share/{index}");
        faults.unless((0.0..=1.0).contains(share), &pointer, *share, "0 to 1");
    }
    if let Some(left) = input.units_left {
        faults.at_least_zero("units_left", left);
    }
    if !(1..=MAX_PATHS).contains(&input.paths) {
        let paths = input.paths;
        faults.refuse("paths", format!("{paths} is not allowed: it must be 1 to {MAX_PATHS}"));
    }
    faults.check()?;
    Ok(horizon)
}

/// A day's demand is no greater than the greatest of its factors together.
fn check_demand(input: &SimulationInput<'_>, faults: &mut Faults) {
    let greatest = |values: &[f64]| {
        let finite = values.iter().copied().filter(|value| value.is_finite());
        finite.reduce(f64::max)
    };
    let (made, waste) = (greatest(input.production), greatest(input.waste_factors));
    let demand = made.unwrap_or(0.0) * input.quantity_per_unit * waste.unwrap_or(1.0);
    if input.quantity_per_unit.is_finite() && !demand.is_finite() {
        let detail = "is too large: the most units of a day times it and times the greatest waste \
                      factor must be finite";
        faults.refuse("quantity_per_unit", detail);
    }
}
