//! Run-out of stock: 400 random cases played day by day by `tests/reference/run_out.py`, which was
//! written from the rules and not from this code.

use calc::{RunOutInput, StockDelivery, StockLot, StockSource, run_out};
use chrono::NaiveDate;
use serde::Deserialize;

use crate::table::repository_file;

#[derive(Deserialize)]
struct Line {
    case: Case,
    answer: Answer,
}

#[derive(Deserialize)]
struct Case {
    start_on: NaiveDate,
    days: u32,
    lots: Vec<Lot>,
    deliveries: Vec<Delivery>,
    demand: Vec<f64>,
    lead_time_days: u32,
    safety_days: u32,
}

#[derive(Deserialize)]
struct Lot {
    #[serde(rename = "lot")]
    name: String,
    quantity: f64,
    expires_on: Option<NaiveDate>,
}

#[derive(Deserialize)]
struct Delivery {
    on: NaiveDate,
    quantity: f64,
    expires_on: Option<NaiveDate>,
}

#[derive(Deserialize)]
struct Answer {
    run_out_on: Option<NaiveDate>,
    days_of_cover: u32,
    shortage: f64,
    order_by: Option<NaiveDate>,
    expiring_unused: Vec<Unused>,
    on_hand: Vec<f64>,
}

#[derive(Deserialize)]
struct Unused {
    lot: Option<String>,
    delivery: Option<usize>,
    expires_on: NaiveDate,
    quantity: f64,
}

/// All quantities are multiples of a quarter, so both sides are exact in any order of sums.
#[test]
fn it_is_what_playing_the_days_gives() {
    let text = repository_file("tests/reference/tables/run_out.jsonl");
    let (mut cases, mut short, mut expiring) = (0, 0, 0);
    for line in text.lines() {
        let Line { case, answer } = serde_json::from_str(line).unwrap();
        check(&case, &answer, line);
        cases += 1;
        short += i32::from(answer.run_out_on.is_some());
        expiring += i32::from(!answer.expiring_unused.is_empty());
    }
    println!("{cases} cases, {short} run out, {expiring} let something expire");
    assert!(cases >= 300 && short >= 50 && expiring >= 50);
}

fn check(case: &Case, answer: &Answer, line: &str) {
    let lot = |it: &Lot| StockLot { quantity: it.quantity, expires_on: it.expires_on };
    let lots: Vec<_> = case.lots.iter().map(lot).collect();
    let delivery = |it: &Delivery| StockDelivery {
        on: it.on,
        quantity: it.quantity,
        expires_on: it.expires_on,
    };
    let deliveries: Vec<_> = case.deliveries.iter().map(delivery).collect();
    let found = run_out(&RunOutInput {
        start_on: case.start_on,
        days: case.days,
        lots: &lots,
        deliveries: &deliveries,
        demand: &case.demand,
        lead_time_days: case.lead_time_days,
        safety_days: case.safety_days,
    })
    .unwrap();

    assert_eq!(found.run_out_on, answer.run_out_on, "{line}");
    assert_eq!(found.days_of_cover, answer.days_of_cover, "{line}");
    assert_eq!(found.order_by, answer.order_by, "{line}");
    assert!((found.shortage - answer.shortage).abs() < 1e-9, "{line}");
    assert_eq!(found.on_hand.len(), answer.on_hand.len(), "{line}");
    for (found, expected) in found.on_hand.iter().zip(&answer.on_hand) {
        assert!((found - expected).abs() < 1e-9, "{line}");
    }

    assert!(found.expiring_unused.is_sorted_by_key(|it| it.expires_on), "{line}");
    // What expires on one day has no order of its own.
    let mut unused: Vec<_> = found
        .expiring_unused
        .iter()
        .map(|it| {
            let source = match it.source {
                StockSource::Lot(index) => case.lots[index].name.clone(),
                StockSource::Delivery(index) => format!("delivery {index}"),
            };
            (it.expires_on, source, it.quantity)
        })
        .collect();
    let mut expected: Vec<_> = answer
        .expiring_unused
        .iter()
        .map(|it| {
            let delivery = it.delivery.map(|index| format!("delivery {index}"));
            (it.expires_on, it.lot.clone().or(delivery).unwrap(), it.quantity)
        })
        .collect();
    unused.sort_by(|a, b| (a.0, &a.1).cmp(&(b.0, &b.1)));
    expected.sort_by(|a, b| (a.0, &a.1).cmp(&(b.0, &b.1)));
    assert_eq!(unused.len(), expected.len(), "{line}");
    for (found, expected) in unused.iter().zip(&expected) {
        assert_eq!((found.0, &found.1), (expected.0, &expected.1), "{line}");
        assert!((found.2 - expected.2).abs() < 1e-9, "{line}");
    }
}
