//! When to order.

use calc::ReorderPointInput;
use domain::schema::Validate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    Calculation,
    faults::{Faults, of_input},
};

/// Reorder point and safety stock, demand and lead time independent and normal.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({
    "demand_per_day": 26.0, "demand_sd_per_day": 6.0, "lead_time_days": 21.0,
    "service_level_percent": 95.0,
}))]
pub struct ReorderPointRequest {
    /// Mean demand a day, in the unit of the stock.
    #[schema(minimum = 0, maximum = 1_000_000_000)]
    pub demand_per_day: f64,
    /// Standard deviation of a day's demand.
    #[schema(minimum = 0, maximum = 1_000_000_000)]
    pub demand_sd_per_day: f64,
    /// Mean lead time, days.
    #[schema(minimum = 0, maximum = 100_000)]
    pub lead_time_days: f64,
    /// Standard deviation of the lead time, days; 0 if absent.
    #[schema(minimum = 0, maximum = 100_000)]
    pub lead_time_sd_days: Option<f64>,
    /// Chance that the stock lasts through a lead time, %.
    #[schema(exclusive_minimum = 0, exclusive_maximum = 100)]
    pub service_level_percent: f64,
}

/// When to order.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ReorderPointAnswer {
    /// Standard normal quantile of the service level.
    pub z: f64,
    /// Safety stock, in the unit of the stock.
    pub safety_stock: f64,
    /// Order when the stock falls to it.
    pub reorder_point: f64,
}

impl Validate for ReorderPointRequest {}

impl Calculation for ReorderPointRequest {
    const NAME: &'static str = "reorder-point";
    type Answer = ReorderPointAnswer;

    fn answer(&self) -> Result<ReorderPointAnswer, Faults> {
        let found = calc::reorder_point(&ReorderPointInput {
            demand_per_day: self.demand_per_day,
            demand_sd_per_day: self.demand_sd_per_day,
            lead_time_days: self.lead_time_days,
            lead_time_sd_days: self.lead_time_sd_days.unwrap_or(0.0),
            service_level_percent: self.service_level_percent,
        })
        .map_err(of_input)?;
        Ok(ReorderPointAnswer {
            z: found.z,
            safety_stock: found.safety_stock,
            reorder_point: found.reorder_point,
        })
    }
}
