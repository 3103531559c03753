//! Reorder point and safety stock.

use crate::{
    input::{Faults, InputError},
    normal::normal_quantile,
};

/// Demand and lead time, each with its spread.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReorderPointInput {
    /// Mean demand a day, d ≥ 0, in the unit of the stock.
    pub demand_per_day: f64,
    /// Standard deviation of a day's demand, σ ≥ 0.
    pub demand_sd_per_day: f64,
    /// Mean lead time L ≥ 0, days.
    pub lead_time_days: f64,
    /// Standard deviation of the lead time, σL ≥ 0, days.
    pub lead_time_sd_days: f64,
    /// Chance that the stock lasts through a lead time, over 0 and under 100 %. Under 50 % the
    /// safety stock is negative.
    pub service_level_percent: f64,
}

/// When to order.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReorderPoint {
    /// The standard normal quantile of the service level.
    pub z: f64,
    /// z √(L σ² + d² σL²).
    pub safety_stock: f64,
    /// d L + safety stock: order when the stock falls to it.
    pub reorder_point: f64,
}

/// Reorder point with demand and lead time independent and normal.
///
/// The textbook formula of the fixed-order-quantity model: Stevenson, Operations Management, 14th
/// edition, p. 528 (published, the case of varying demand; the case of both second-hand).
pub fn reorder_point(input: &ReorderPointInput) -> Result<ReorderPoint, InputError> {
    let mut faults = Faults::default();
    faults.at_least_zero("demand_per_day", input.demand_per_day);
    faults.at_least_zero("demand_sd_per_day", input.demand_sd_per_day);
    faults.at_least_zero("lead_time_days", input.lead_time_days);
    faults.at_least_zero("lead_time_sd_days", input.lead_time_sd_days);
    faults.open_percent("service_level_percent", input.service_level_percent);
    faults.check()?;
    let z = normal_quantile(input.service_level_percent / 100.0);
    let of_demand = input.lead_time_days.sqrt() * input.demand_sd_per_day;
    let of_lead_time = input.demand_per_day * input.lead_time_sd_days;
    let safety_stock = z * of_demand.hypot(of_lead_time);
    let reorder_point = input.demand_per_day * input.lead_time_days + safety_stock;
    if !reorder_point.is_finite() {
        return Err(InputError::refused("demand_per_day", "the numbers are too large together"));
    }
    Ok(ReorderPoint { z, safety_stock, reorder_point })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn input(demand: [f64; 2], lead_time: [f64; 2], percent: f64) -> ReorderPointInput {
        ReorderPointInput {
            demand_per_day: demand[0],
            demand_sd_per_day: demand[1],
            lead_time_days: lead_time[0],
            lead_time_sd_days: lead_time[1],
            service_level_percent: percent,
        }
    }

    fn check(demand: [f64; 2], lead_time: [f64; 2], percent: f64, expected: f64, within: f64) {
        let found = reorder_point(&input(demand, lead_time, percent)).unwrap().reorder_point;
        assert!((found - expected).abs() < within, "{demand:?} {percent} %: {found} {expected}");
    }

    #[test]
    fn the_worked_examples_of_the_books() {
        // Sand, 50 t in the lead time with σ 5 t, risk 3 %: printed 59.40 (Stevenson, Operations
        // Management, 14th edition, p. 528, published).
        check([50.0, 5.0], [1.0, 0.0], 97.0, 59.40, 0.01);
        // Carpet, 30 a day, σ 5, 10 days, 95 %: inputs published by a textbook site; 326.01 with
        // the exact z, 326.09 with the book's 1.65, by hand.
        check([30.0, 5.0], [10.0, 0.0], 95.0, 326.01, 0.01);
        // Sauce, 50 a week, σ 3, 2 weeks, risk 10 %: 105.43 with z 1.28, by hand (inputs
        // second-hand).
        check([50.0, 3.0], [2.0, 0.0], 90.0, 105.43, 0.01);
        // 12 500 a day, 4 days, σ 1 day, 97 %: 73 500 with z 1.88, by hand (inputs second-hand);
        // the exact z is 1.8808.
        check([12_500.0, 0.0], [4.0, 1.0], 97.0, 73_500.0, 12.0);
        // Monitors, 2.5 a day, σ 1.2, 25 days, 90 %: 70.18 with z 1.28, by hand.
        check([2.5, 1.2], [25.0, 0.0], 90.0, 70.18, 0.02);
        // Both vary: 40 · 12 + 1.645 · 123.98 = 683.95, by hand.
        check([40.0, 9.0], [12.0, 3.0], 95.0, 683.95, 0.02);
        // Tape, 26 rolls a day, σ 6, 21 days, 95 %: 591.23 with z 1.645, by hand, inputs invented.
        check([26.0, 6.0], [21.0, 0.0], 95.0, 591.23, 0.01);
    }

    #[test]
    fn every_field_out_of_range_is_named() {
        let error = reorder_point(&input([-1.0, f64::NAN], [1.0, f64::INFINITY], 100.0));
        let fields = error.unwrap_err().faults;
        let pointers: Vec<_> = fields.iter().map(|it| it.field.as_str()).collect();
        let expected =
            ["demand_per_day", "demand_sd_per_day", "lead_time_sd_days", "service_level_percent"];
        assert_eq!(pointers, expected);
        assert!(reorder_point(&input([1e300, 0.0], [1e300, 0.0], 90.0)).is_err());
    }

    proptest! {
        #[test]
        fn more_certainty_orders_no_later(
            demand in prop::array::uniform2(0.0..1000.0f64),
            lead_time in prop::array::uniform2(0.0..60.0f64),
            percent in 1.0..98.0f64,
            more in 0.01..1.9f64,
        ) {
            let before = reorder_point(&input(demand, lead_time, percent)).unwrap();
            let after = reorder_point(&input(demand, lead_time, percent + more)).unwrap();
            prop_assert!(after.z > before.z);
            prop_assert!(after.reorder_point >= before.reorder_point);
        }

        #[test]
        fn without_spread_it_is_the_demand_of_the_lead_time(
            demand in 0.0..1000.0f64, days in 0.0..60.0f64, percent in 0.1..99.9f64,
        ) {
            let found = reorder_point(&input([demand, 0.0], [days, 0.0], percent)).unwrap();
            prop_assert!((found.reorder_point - demand * days).abs() < 1e-9);
        }
    }
}
