//! The run-out of stock: worked cases, a slow model written from the definition, and laws.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on says so by failing")]

use calc::{ExpiringUnused, RunOut, RunOutInput, StockDelivery, StockLot, StockSource, run_out};
use chrono::{Days, NaiveDate};
use proptest::prelude::*;

fn day(offset: i64) -> NaiveDate {
    let start = NaiveDate::from_ymd_opt(2026, 3, 2).unwrap();
    start.checked_add_signed(chrono::TimeDelta::days(offset)).unwrap()
}

fn lot(quantity: f64, last: Option<i64>) -> StockLot {
    StockLot { quantity, expires_on: last.map(day) }
}

fn delivery(on: i64, quantity: f64, last: Option<i64>) -> StockDelivery {
    StockDelivery { on: day(on), quantity, expires_on: last.map(day) }
}

fn runs(days: u32, lots: &[StockLot], deliveries: &[StockDelivery], demand: &[f64]) -> RunOut {
    let input = RunOutInput {
        start_on: day(0),
        days,
        lots,
        deliveries,
        demand,
        lead_time_days: 14,
        safety_days: 2,
    };
    run_out(&input).unwrap()
}

fn near(found: f64, expected: f64) -> bool {
    (found - expected).abs() < 1e-9
}

#[test]
fn a_case_by_hand() {
    // 100 last to day 2, 50 without end; 30 a day; 40 more on day 4. By hand:
    // day 0: 70 + 50; day 1: 40 + 50; day 2: 10 + 50, of which 10 expire; day 3: 20;
    // day 4: 20 + 40 − 30 = 30; day 5: 0; day 6: 30 short; day 7: 30 short.
    let lots = [lot(50.0, None), lot(100.0, Some(2))];
    let found = runs(8, &lots, &[delivery(4, 40.0, Some(90))], &[30.0; 8]);
    assert_eq!(found.run_out_on, Some(day(6)));
    assert_eq!(found.days_of_cover, 6);
    assert_eq!(found.order_by, Some(day(6 - 16)));
    assert!(near(found.shortage, 60.0) && near(found.used, 180.0));
    let expected =
        ExpiringUnused { source: StockSource::Lot(1), expires_on: day(2), quantity: 10.0 };
    assert_eq!(found.expiring_unused, [expected]);
    let on_hand = [120.0, 90.0, 50.0, 20.0, 30.0, 0.0, 0.0, 0.0];
    assert!(found.on_hand.iter().zip(on_hand).all(|(found, expected)| near(*found, expected)));
}

#[test]
fn days_of_cover_are_stock_over_use() {
    // 820 / 26 = 31.5: 31 days are met in full (arithmetic by hand).
    let found = runs(60, &[lot(820.0, None)], &[], &[26.0; 60]);
    assert_eq!((found.days_of_cover, found.run_out_on), (31, Some(day(31))));
}

#[test]
fn a_lot_is_good_on_its_last_day_and_not_after() {
    let found = runs(3, &[lot(20.0, Some(1))], &[], &[0.0, 10.0, 10.0]);
    assert_eq!(found.run_out_on, Some(day(2)));
    assert!(near(found.expiring_unused[0].quantity, 10.0));
    assert!(near(found.on_hand[0], 20.0) && near(found.on_hand[1], 0.0));
}

#[test]
fn what_expired_before_the_first_day_is_never_used() {
    let found = runs(2, &[lot(20.0, Some(-1)), lot(5.0, None)], &[], &[5.0, 5.0]);
    assert_eq!(found.run_out_on, Some(day(1)));
    assert!(found.expiring_unused.is_empty());
    assert_eq!(found.expired_before_start[0].source, StockSource::Lot(0));
}

#[test]
fn a_delivery_that_comes_expired_is_never_used() {
    let found = runs(4, &[], &[delivery(2, 9.0, Some(1))], &[0.0, 0.0, 1.0]);
    assert_eq!(found.run_out_on, Some(day(2)));
    assert_eq!(found.expiring_unused[0].source, StockSource::Delivery(0));
}

#[test]
fn what_comes_expired_stands_at_its_last_day_and_not_at_its_arrival() {
    let lots = [lot(1.0, Some(1)), lot(3.0, Some(2))];
    let late = [delivery(3, 9.0, Some(1)), delivery(3, 8.0, Some(0))];
    let found = runs(5, &lots, &late, &[]);
    let order: Vec<_> = found.expiring_unused.iter().map(|it| (it.expires_on, it.source)).collect();
    let expected = [
        (day(0), StockSource::Delivery(1)),
        (day(1), StockSource::Lot(0)),
        (day(1), StockSource::Delivery(0)),
        (day(2), StockSource::Lot(1)),
    ];
    assert_eq!(order, expected);
}

#[test]
fn ties_go_in_the_order_given_lots_before_deliveries() {
    let lots = [lot(10.0, Some(5)), lot(10.0, Some(5))];
    let found = runs(7, &lots, &[delivery(0, 10.0, Some(5))], &[15.0]);
    let left: Vec<_> = found.expiring_unused.iter().map(|it| (it.source, it.quantity)).collect();
    assert_eq!(left, [(StockSource::Lot(1), 5.0), (StockSource::Delivery(0), 10.0)]);
}

#[test]
fn a_delivery_outside_the_horizon_never_comes() {
    let outside = [delivery(-1, 50.0, None), delivery(3, 50.0, None)];
    let found = runs(3, &[], &outside, &[0.0, 0.0, 1.0]);
    assert!(near(found.shortage, 1.0));
}

#[test]
fn rounding_is_no_shortage_and_no_rest() {
    // In floating point 0.3 − 0.1 − 0.1 is less than 0.1.
    let found = runs(4, &[lot(0.3, Some(3))], &[], &[0.1, 0.1, 0.1, 0.0]);
    assert_eq!(found.run_out_on, None);
    assert!(found.expiring_unused.is_empty());
    assert_eq!(found.days_of_cover, 4);
}

#[test]
fn what_is_no_number_or_no_horizon_is_refused() {
    let lots = [lot(f64::NAN, None)];
    let deliveries = [delivery(0, -1.0, None)];
    let mut input = RunOutInput {
        start_on: day(0),
        days: 5,
        lots: &lots,
        deliveries: &deliveries,
        demand: &[1.0, f64::INFINITY],
        lead_time_days: 0,
        safety_days: 0,
    };
    let fields = run_out(&input).unwrap_err().faults;
    let pointers: Vec<_> = fields.iter().map(|it| it.field.as_str()).collect();
    assert_eq!(pointers, ["lots/0/quantity", "deliveries/0/quantity", "demand/1"]);
    for days in [0, calc::MAX_HORIZON_DAYS + 1] {
        input.days = days;
        let fields = run_out(&input).unwrap_err().faults;
        assert_eq!((fields[0].field.as_str(), fields.len()), ("days", 4));
    }
}

#[test]
fn sums_beyond_all_numbers_are_refused() {
    let refused = |lots: &[StockLot], deliveries: &[StockDelivery], demand: &[f64]| {
        let input = RunOutInput {
            start_on: day(0),
            days: 3,
            lots,
            deliveries,
            demand,
            lead_time_days: 0,
            safety_days: 0,
        };
        let faults = run_out(&input).err().map_or_else(Vec::new, |error| error.faults);
        faults.into_iter().map(|it| it.field).collect::<Vec<_>>()
    };
    let huge = [lot(1e308, None), lot(1e308, None)];
    assert_eq!(refused(&huge, &[], &[]), ["lots"]);
    assert_eq!(refused(&huge[..1], &[delivery(1, 1e308, None)], &[]), ["deliveries"]);
    assert_eq!(refused(&[], &[], &[1e308, 1e308]), ["demand"]);
    assert!(refused(&huge[..1], &[], &[1e308]).is_empty());
}

/// The definition, word for word and slowly, in whole numbers. Answers the first day short, the
/// shortage, what expires within the horizon and the usable rest of each day.
fn model(
    days: i64,
    lots: &[(u32, Option<i64>)],
    deliveries: &[(i64, u32, Option<i64>)],
    demand: &[u32],
) -> (Option<i64>, u32, u32, Vec<u32>) {
    let mut stock: Vec<(i64, u32)> =
        lots.iter().map(|(quantity, last)| (last.unwrap_or(9999), *quantity)).collect();
    let (mut first, mut shortage, mut expired, mut on_hand) = (None, 0, 0, vec![]);
    for today in 0..days {
        for (_, quantity, last) in deliveries.iter().filter(|(on, ..)| *on == today) {
            stock.push((last.unwrap_or(9999), *quantity));
        }
        stock.sort_by_key(|(last, _)| *last);
        let mut open =
            usize::try_from(today).ok().and_then(|it| demand.get(it)).map_or(0, |it| *it);
        for (_, quantity) in stock.iter_mut().filter(|(last, _)| *last >= today) {
            let taken = open.min(*quantity);
            *quantity -= taken;
            open -= taken;
        }
        if open > 0 {
            first = first.or(Some(today));
            shortage += open;
        }
        expired += stock
            .iter()
            .filter(|(last, _)| (0..=today).contains(last))
            .map(|(_, quantity)| quantity)
            .sum::<u32>();
        stock.retain(|(last, _)| *last > today);
        on_hand.push(stock.iter().map(|(_, quantity)| quantity).sum());
    }
    (first, shortage, expired, on_hand)
}

type Case = (Vec<(u32, Option<i64>)>, Vec<(i64, u32, Option<i64>)>, Vec<u32>);

fn case() -> impl Strategy<Value = Case> {
    let last = || prop::option::of(-3i64..40);
    (
        prop::collection::vec((0u32..60, last()), 0..8),
        prop::collection::vec((-2i64..35, 0u32..60, last()), 0..6),
        prop::collection::vec(0u32..20, 0..35),
    )
}

fn runs_case((lots, deliveries, demand): &Case) -> RunOut {
    let lots: Vec<_> = lots.iter().map(|it| lot(f64::from(it.0), it.1)).collect();
    let deliveries: Vec<_> =
        deliveries.iter().map(|it| delivery(it.0, f64::from(it.1), it.2)).collect();
    let demand: Vec<_> = demand.iter().copied().map(f64::from).collect();
    runs(30, &lots, &deliveries, &demand)
}

/// A run-out that never comes is later than any that does.
fn when(run_out: &RunOut) -> NaiveDate {
    run_out.run_out_on.unwrap_or(NaiveDate::MAX)
}

proptest! {
    #[test]
    fn it_is_the_definition(case in case()) {
        let found = runs_case(&case);
        let (first, shortage, expired, on_hand) = model(30, &case.0, &case.1, &case.2);
        prop_assert_eq!(found.run_out_on, first.map(day));
        prop_assert_eq!(i64::from(found.days_of_cover), first.unwrap_or(30));
        prop_assert!(near(found.shortage, f64::from(shortage)));
        prop_assert!(found.expiring_unused.is_sorted_by_key(|it| it.expires_on));
        let unused: f64 = found.expiring_unused.iter().map(|it| it.quantity).sum();
        prop_assert!(near(unused, f64::from(expired)), "{unused} {expired}");
        for (found, expected) in found.on_hand.iter().zip(on_hand) {
            prop_assert!(near(*found, f64::from(expected)));
        }
        let order_by = found.run_out_on.map(|on| on - Days::new(16));
        prop_assert_eq!(found.order_by, order_by);
    }

    #[test]
    fn nothing_is_made_or_lost(case in case()) {
        let found = runs_case(&case);
        let total = |list: &[ExpiringUnused]| list.iter().map(|it| it.quantity).sum::<f64>();
        let arrived = case.1.iter().filter(|it| (0..30).contains(&it.0)).map(|it| f64::from(it.1));
        let received = case.0.iter().map(|it| f64::from(it.0)).sum::<f64>() + arrived.sum::<f64>();
        let left = found.on_hand.last().copied().unwrap();
        let gone = total(&found.expiring_unused) + total(&found.expired_before_start);
        prop_assert!(near(received, found.used + left + gone));
        let asked: f64 = case.2.iter().take(30).map(|it| f64::from(*it)).sum();
        prop_assert!(near(asked, found.used + found.shortage));
    }

    #[test]
    fn more_demand_runs_out_no_later(case in case(), on in 0usize..30, more in 1u32..30) {
        let mut greedy = case.clone();
        greedy.2.resize(greedy.2.len().max(on + 1), 0);
        greedy.2[on] += more;
        prop_assert!(when(&runs_case(&greedy)) <= when(&runs_case(&case)));
    }

    /// Also where it expires early: it is used before what lasts longer, which is then spared.
    #[test]
    fn another_delivery_runs_out_no_earlier(
        case in case(), on in 0i64..30, quantity in 1u32..60, last in prop::option::of(0i64..40),
    ) {
        let mut richer = case.clone();
        richer.1.push((on, quantity, last));
        let (before, after) = (runs_case(&case), runs_case(&richer));
        prop_assert!(when(&after) >= when(&before));
        prop_assert!(after.shortage <= before.shortage + 1e-9);
    }

    #[test]
    fn a_longer_life_runs_out_no_earlier(case in case(), which in 0usize..8, days in 1i64..20) {
        let mut longer = case.clone();
        if let Some(lot) = longer.0.get_mut(which) {
            lot.1 = lot.1.map(|last| last + days);
        }
        prop_assert!(when(&runs_case(&longer)) >= when(&runs_case(&case)));
    }

    #[test]
    fn the_unit_does_not_matter(case in case(), unit in 0.01..1000.0f64) {
        let (lots, deliveries, demand) = &case;
        let scaled = |it: u32| f64::from(it) * unit;
        let lots: Vec<_> = lots.iter().map(|it| lot(scaled(it.0), it.1)).collect();
        let deliveries: Vec<_> =
            deliveries.iter().map(|it| delivery(it.0, scaled(it.1), it.2)).collect();
        let demand: Vec<_> = demand.iter().copied().map(scaled).collect();
        let (found, one) = (runs(30, &lots, &deliveries, &demand), runs_case(&case));
        prop_assert_eq!(found.run_out_on, one.run_out_on);
        prop_assert!((found.shortage - one.shortage * unit).abs() < 1e-6 * unit);
    }
}
