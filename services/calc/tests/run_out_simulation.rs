//! The simulated run-out: held against the run-out day by day, against probability theory, and
//! against itself on other threads.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on says so by failing")]

use std::num::NonZeroUsize;

use calc::{
    RunOutInput, SimulatedRunOut, SimulationInput, StockDelivery, StockLot, run_out,
    simulate_run_out, simulate_run_outs,
};
use chrono::{Days, NaiveDate};
use proptest::prelude::*;

fn start() -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 3, 2).unwrap()
}

fn day(offset: u64) -> NaiveDate {
    start() + Days::new(offset)
}

fn input<'a>(lots: &'a [StockLot], production: &'a [f64]) -> SimulationInput<'a> {
    SimulationInput {
        start_on: start(),
        days: 40,
        lots,
        deliveries: &[],
        production,
        quantity_per_unit: 1.0,
        waste_factors: &[],
        working_share: &[],
        units_left: None,
        paths: 20_000,
        seed: 1,
    }
}

fn lot(quantity: f64) -> StockLot {
    StockLot { quantity, expires_on: None }
}

/// P(a binomial count of `n` halves is more than `most`), by adding up exact counts.
fn more_heads_than(most: u32, n: u32) -> f64 {
    let mut row = vec![1.0_f64];
    for _ in 0..n {
        let next = (0..=row.len()).map(|k| {
            let at = |k: usize| row.get(k).copied().unwrap_or(0.0);
            f64::midpoint(at(k), k.checked_sub(1).map_or(0.0, at))
        });
        row = next.collect();
    }
    row.iter().skip(most as usize + 1).sum()
}

#[test]
fn one_joint_or_none_a_day_is_the_toss_of_a_coin() {
    // With 10 in stock and 0 or 1 used a day, the stock has run out by the end of day n − 1
    // exactly if n tosses show more than 10 heads.
    let lots = [lot(10.0)];
    let found = simulate_run_out(&input(&lots, &[0.0, 1.0])).unwrap();
    let mut by_then = 0;
    for (on, count) in found.run_out_counts.iter().enumerate() {
        by_then += count;
        let expected = more_heads_than(10, u32::try_from(on + 1).unwrap());
        // Five standard deviations of a share of 20 000 paths.
        let allowed = 5.0 * (expected * (1.0 - expected) / 20_000.0).sqrt() + 1e-12;
        let share = f64::from(by_then) / 20_000.0;
        assert!((share - expected).abs() <= allowed, "day {on}: {share} {expected}");
    }
}

#[test]
fn a_quantile_that_lies_beyond_the_horizon_is_none() {
    let lots = [lot(10.0)];
    // 20 tosses: more than 10 heads in 41 % of the cases.
    let short = SimulationInput { days: 20, ..input(&lots, &[0.0, 1.0]) };
    let found = simulate_run_out(&short).unwrap();
    assert!(found.p10.is_some());
    assert_eq!((found.p50, found.p90), (None, None));
    assert!((found.run_out_chance - 0.4119).abs() < 0.02, "{}", found.run_out_chance);
}

#[test]
fn the_next_delivery_divides_the_paths() {
    let lots = [lot(4.0)];
    let on = |offset, quantity| StockDelivery { on: day(offset), quantity, expires_on: None };
    // What comes on the first day is there already, 10 together; the next is that of day 20.
    let deliveries = [on(25, 100.0), on(0, 6.0), on(20, 100.0)];
    let input = SimulationInput { deliveries: &deliveries, ..input(&lots, &[0.0, 1.0]) };
    let found = simulate_run_out(&input).unwrap();
    assert_eq!(found.next_delivery_on, Some(day(20)));
    let before: u32 = found.run_out_counts[..20].iter().sum();
    let chance = found.dry_before_next_delivery_chance.unwrap();
    assert!((chance - f64::from(before) / 20_000.0).abs() < 1e-12);
    assert!((chance - more_heads_than(10, 20)).abs() < 0.02);
    // With 100 more from day 20 on, 20 days can't use up the rest.
    assert!((found.run_out_chance - chance).abs() < 1e-12);
}

#[test]
fn the_next_delivery_is_one_that_can_be_used() {
    let lots = [lot(4.0)];
    let on = |offset, quantity, last: u64| StockDelivery {
        on: day(offset),
        quantity,
        expires_on: Some(day(last)),
    };
    // Nothing comes on day 4, and what comes on day 5 has expired the day before.
    let deliveries = [on(4, 0.0, 9), on(5, 9.0, 4), on(8, 9.0, 8), on(6, 9.0, 6)];
    let usable = SimulationInput { deliveries: &deliveries, ..input(&lots, &[1.0]) };
    let found = simulate_run_out(&usable).unwrap();
    assert_eq!(found.next_delivery_on, Some(day(6)));
    assert_eq!(found.dry_before_next_delivery_chance, Some(1.0));
    let never = SimulationInput { deliveries: &deliveries[..2], ..usable };
    let found = simulate_run_out(&never).unwrap();
    assert_eq!((found.next_delivery_on, found.dry_before_next_delivery_chance), (None, None));
}

#[test]
fn a_demand_or_a_stock_beyond_all_numbers_is_refused() {
    let refused = |input: &SimulationInput<'_>| {
        let faults = simulate_run_out(input).err().map_or_else(Vec::new, |error| error.faults);
        faults.into_iter().map(|it| it.field).collect::<Vec<_>>()
    };
    let lots = [lot(1e308), lot(1e308)];
    let few = SimulationInput { paths: 3, ..input(&lots[..1], &[1e300, 0.0]) };
    let each = SimulationInput { quantity_per_unit: 1e300, ..few };
    assert_eq!(refused(&each), ["quantity_per_unit"]);
    let wasteful = SimulationInput { quantity_per_unit: 1e5, waste_factors: &[1e5, 1.0], ..few };
    assert_eq!(refused(&wasteful), ["quantity_per_unit"]);
    assert_eq!(refused(&SimulationInput { lots: &lots, ..few }), ["lots"]);
    assert!(refused(&few).is_empty());
    let two = [1, 2].map(|on| StockDelivery { on: day(on), quantity: 1e308, expires_on: None });
    assert_eq!(refused(&SimulationInput { deliveries: &two, ..few }), ["deliveries"]);
}

#[test]
fn days_off_waste_and_the_end_of_the_project_count() {
    let lots = [lot(50.0)];
    let working_share = [1.0, 0.5, 0.0];
    let steady = SimulationInput {
        working_share: &working_share,
        quantity_per_unit: 2.0,
        waste_factors: &[1.25],
        paths: 10,
        ..input(&lots, &[4.0])
    };
    // 10 on day 0, 5 on day 1, none on day 2, then 10 a day: 45 are used on day 5; day 6 is short.
    let found = simulate_run_out(&steady).unwrap();
    assert_eq!((found.p10, found.p90), (Some(day(6)), Some(day(6))));
    // 20 joints need 50: it lasts.
    let ending = SimulationInput { units_left: Some(20.0), ..steady };
    assert_eq!(simulate_run_out(&ending).unwrap().p10, None);
    let one_more = SimulationInput { units_left: Some(21.0), ..steady };
    assert_eq!(simulate_run_out(&one_more).unwrap().p10, Some(day(6)));
}

#[test]
fn the_same_seed_gives_the_same_answer_on_any_number_of_threads() {
    let lots = [lot(100.0)];
    let made: Vec<f64> = (0..12).map(f64::from).collect();
    let inputs: Vec<_> =
        (0..9).map(|seed| SimulationInput { seed, paths: 200, ..input(&lots, &made) }).collect();
    let run = |threads| -> Vec<SimulatedRunOut> {
        let threads = NonZeroUsize::new(threads).unwrap();
        simulate_run_outs(&inputs, threads).into_iter().map(Result::unwrap).collect()
    };
    let alone = run(1);
    assert_eq!(alone, run(3));
    assert_eq!(alone[4], simulate_run_out(&inputs[4]).unwrap());
    assert_ne!(alone[0].run_out_counts, alone[1].run_out_counts);
}

#[test]
fn what_can_not_be_simulated_is_refused_field_by_field() {
    let wrong = SimulationInput {
        quantity_per_unit: f64::NAN,
        waste_factors: &[1.0, 0.0],
        working_share: &[1.1],
        units_left: Some(-1.0),
        paths: 0,
        ..input(&[], &[])
    };
    let fields = simulate_run_out(&wrong).unwrap_err().faults;
    let pointers: Vec<_> = fields.iter().map(|it| it.field.as_str()).collect();
    let expected = [
        "production",
        "quantity_per_unit",
        "waste_factors/1",
        "working_share/0",
        "units_left",
        "paths",
    ];
    assert_eq!(pointers, expected);
}

proptest! {
    /// Where every recorded day is the same, each path is the run-out day by day.
    #[test]
    fn a_steady_site_has_one_run_out(
        lots in prop::collection::vec((0u32..60, prop::option::of(0u64..60)), 0..10),
        deliveries in prop::collection::vec((0u64..50, 0u32..60, prop::option::of(0u64..60)), 0..40),
        shares in prop::collection::vec(prop::sample::select(vec![0.0, 0.5, 1.0]), 0..50),
        rate in 0u32..20,
    ) {
        let rate = f64::from(rate);
        let lots: Vec<_> = lots.iter().map(|(quantity, last)| {
            StockLot { quantity: f64::from(*quantity), expires_on: last.map(day) }
        }).collect();
        let deliveries: Vec<_> = deliveries.iter().map(|(on, quantity, last)| StockDelivery {
            on: day(*on), quantity: f64::from(*quantity), expires_on: last.map(day),
        }).collect();
        let mut demand: Vec<f64> = shares.iter().map(|share| share * rate).collect();
        demand.resize(demand.len().max(40), rate);
        let expected = run_out(&RunOutInput {
            start_on: start(),
            days: 40,
            lots: &lots,
            deliveries: &deliveries,
            demand: &demand,
            lead_time_days: 0,
            safety_days: 0,
        }).unwrap().run_out_on;
        let found = simulate_run_out(&SimulationInput {
            deliveries: &deliveries,
            working_share: &shares,
            paths: 3,
            ..input(&lots, &[rate])
        }).unwrap();
        prop_assert_eq!(found.p10, expected);
        prop_assert_eq!(found.p90, expected);
        let certain = if expected.is_some() { 1.0 } else { 0.0 };
        prop_assert!((found.run_out_chance - certain).abs() < 1e-12);
    }

    #[test]
    fn quantiles_stand_in_their_order(quantity in 1u32..300, seed in 0u64..1000) {
        let lots = [lot(f64::from(quantity))];
        let made: Vec<f64> = (0..20).map(f64::from).collect();
        let found = simulate_run_out(&SimulationInput { paths: 100, seed, ..input(&lots, &made) });
        let found = found.unwrap();
        let when = |date: Option<NaiveDate>| date.unwrap_or(NaiveDate::MAX);
        prop_assert!(when(found.p10) <= when(found.p50) && when(found.p50) <= when(found.p90));
        let total: u32 = found.run_out_counts.iter().sum();
        prop_assert!((found.run_out_chance - f64::from(total) / 100.0).abs() < 1e-12);
        prop_assert_eq!(found.p90.is_some(), total >= 90);
    }
}
