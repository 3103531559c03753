//! Reorder point: stockpyl 1.0.2 for a fixed lead time (the quantile of its lead-time demand, the
//! same as its newsvendor solution), scipy 1.17.1 for an uncertain one, which stockpyl has not.

use calc::ReorderPointInput;

use crate::table::{Deviation, Table};

/// Largest difference 4e-16 of the reorder point.
#[test]
fn it_is_the_quantile_of_the_demand_in_the_lead_time() {
    for source in ["stockpyl", "scipy"] {
        let (mut reorder, mut safety, mut z) =
            (Deviation::default(), Deviation::default(), Deviation::default());
        let table = Table::read("tests/reference/tables/reorder_point.csv");
        for row in table.rows().filter(|row| row.text("source") == source) {
            let found = calc::reorder_point(&ReorderPointInput {
                demand_per_day: row.number("demand_per_day"),
                demand_sd_per_day: row.number("demand_sd_per_day"),
                lead_time_days: row.number("lead_time_days"),
                lead_time_sd_days: row.number("lead_time_sd_days"),
                service_level_percent: row.number("service_level_percent"),
            });
            let found = found.unwrap();
            let size = row.number("reorder_point");
            reorder.add((found.reorder_point - size) / size);
            safety.add((found.safety_stock - row.number("safety_stock")) / size);
            z.add(found.z - row.number("z"));
        }
        reorder.tell(&format!("reorder point, relative, {source}"));
        safety.tell(&format!("safety stock over reorder point, {source}"));
        assert!(reorder.count >= 200);
        assert!(reorder.largest <= 1e-12 && safety.largest <= 1e-12 && z.largest <= 1e-12);
    }
}
