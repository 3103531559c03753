//! When the stock runs out.

use calc::{RunOutInput, StockDelivery, StockLot, StockSource};
use chrono::{Datelike, NaiveDate};
use domain::schema::{FieldError, Validate};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    Calculation,
    faults::{Faults, of_input, year},
    run_out_simulation::{Simulation, SimulationAnswer},
    whole::{optional, whole},
};

/// Stock day by day, first-expired-first-out; with `simulation` also by chance.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({
    "start_on": "2026-03-02", "days": 4,
    "lots": [{ "lot": "A", "quantity": 10.0, "expires_on": "2026-03-03" }],
    "deliveries": [{ "on": "2026-03-04", "quantity": 5.0, "expires_on": null }],
    "demand": [4.0, 4.0, 4.0, 4.0], "lead_time_days": 2, "safety_days": 1,
}))]
pub struct RunOutRequest {
    /// The first day.
    pub start_on: NaiveDate,
    /// How many days to look ahead.
    #[serde(deserialize_with = "whole")]
    #[schema(minimum = 1, maximum = 3660)]
    pub days: u64,
    /// On hand on the first day.
    #[serde(default)]
    #[schema(max_items = 10_000)]
    pub lots: Vec<LotOnHand>,
    /// Expected.
    #[serde(default)]
    #[schema(max_items = 10_000)]
    pub deliveries: Vec<Delivery>,
    /// One value a day from the first; 0 on the days after the last value.
    #[serde(default)]
    #[schema(max_items = 3660)]
    #[schema(value_type = Vec<Quantity>)]
    pub demand: Vec<f64>,
    /// From order to delivery, calendar days; 0 if absent.
    #[serde(default, deserialize_with = "optional")]
    #[schema(minimum = 0, maximum = 3660)]
    pub lead_time_days: Option<u64>,
    /// Reserve of time, calendar days; 0 if absent.
    #[serde(default, deserialize_with = "optional")]
    #[schema(minimum = 0, maximum = 3660)]
    pub safety_days: Option<u64>,
    /// When it may run out by chance, drawn from the site's own days.
    #[serde(default)]
    #[schema(value_type = Simulation, required = false)]
    pub simulation: Option<Simulation>,
}

/// How much, in the unit of the material.
#[derive(ToSchema, Deserialize)]
#[schema(as = StockQuantity, minimum = 0, maximum = 1_000_000_000)]
#[expect(dead_code, reason = "only its schema is used: a list cannot bound its numbers itself")]
pub(crate) struct Quantity(f64);

/// A lot on hand.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LotOnHand {
    /// Its name.
    #[schema(max_length = 200)]
    pub lot: String,
    /// How much.
    #[schema(minimum = 0, maximum = 1_000_000_000)]
    pub quantity: f64,
    /// The last day it may be used on; null = it does not expire.
    pub expires_on: Option<NaiveDate>,
}

/// A delivery that is expected.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = ExpectedDelivery)]
pub struct Delivery {
    /// The day it arrives; it can be used on that day.
    pub on: NaiveDate,
    /// How much.
    #[schema(minimum = 0, maximum = 1_000_000_000)]
    pub quantity: f64,
    /// The last day it may be used on; null = it does not expire.
    pub expires_on: Option<NaiveDate>,
}

/// What becomes of the stock.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct RunOutAnswer {
    /// The first day with a shortage; null where there is none.
    #[schema(required)]
    pub run_out_on: Option<NaiveDate>,
    /// Days before it that were met in full; all days where there is none.
    pub days_of_cover: u32,
    /// Total that could not be met.
    pub shortage: f64,
    /// The last day to order on; may lie in the past; null without a run-out.
    #[schema(required)]
    pub order_by: Option<NaiveDate>,
    /// What is left when its last day passes within the horizon, in the order of the last days.
    pub expiring_unused: Vec<Unused>,
    /// What had expired before the first day: on hand, never usable.
    pub expired_before_start: Vec<Unused>,
    /// Usable quantity at the end of each day.
    pub on_hand: Vec<f64>,
    /// Total that was used.
    pub used: f64,
    /// The same by chance; null where it was not asked for.
    #[schema(required)]
    pub simulation: Option<SimulationAnswer>,
}

/// A quantity that nobody used in time.
#[derive(Debug, Clone, Serialize, ToSchema)]
#[schema(as = ExpiringUnused)]
pub struct Unused {
    /// The lot it is of.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lot: Option<String>,
    /// The delivery it came with, by its place in the request, from 0.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub delivery: Option<usize>,
    /// Its last day.
    pub expires_on: NaiveDate,
    /// How much.
    pub quantity: f64,
}

impl Validate for RunOutRequest {
    fn faults(&self) -> Faults {
        let mut faults = Faults::new();
        year("/start_on", self.start_on.year(), &mut faults);
        for (index, delivery) in self.deliveries.iter().enumerate() {
            year(&format!("/deliveries/{index}/on"), delivery.on.year(), &mut faults);
        }
        if let Some(simulation) = &self.simulation {
            simulation.check_work(self.days, self.deliveries.len(), &mut faults);
        }
        faults
    }
}

impl Calculation for RunOutRequest {
    const NAME: &'static str = "run-out";
    type Answer = RunOutAnswer;

    fn answer(&self) -> Result<RunOutAnswer, Faults> {
        let lots = self.lots.iter();
        let lots: Vec<_> =
            lots.map(|it| StockLot { quantity: it.quantity, expires_on: it.expires_on }).collect();
        let deliveries = self.deliveries.iter().map(|it| StockDelivery {
            on: it.on,
            quantity: it.quantity,
            expires_on: it.expires_on,
        });
        let deliveries: Vec<_> = deliveries.collect();
        let input = RunOutInput {
            start_on: self.start_on,
            days: days("/days", Some(self.days))?,
            lots: &lots,
            deliveries: &deliveries,
            demand: &self.demand,
            lead_time_days: days("/lead_time_days", self.lead_time_days)?,
            safety_days: days("/safety_days", self.safety_days)?,
        };
        let found = calc::run_out(&input).map_err(of_input)?;
        let simulation = self.simulation.as_ref();
        Ok(RunOutAnswer {
            run_out_on: found.run_out_on,
            days_of_cover: found.days_of_cover,
            shortage: found.shortage,
            order_by: found.order_by,
            expiring_unused: self.unused(&found.expiring_unused),
            expired_before_start: self.unused(&found.expired_before_start),
            on_hand: found.on_hand,
            used: found.used,
            simulation: simulation.map(|it| it.run(&input)).transpose()?,
        })
    }
}

impl RunOutRequest {
    fn unused(&self, unused: &[calc::ExpiringUnused]) -> Vec<Unused> {
        let named = unused.iter().map(|it| {
            let (lot, delivery) = match it.source {
                StockSource::Lot(index) => (self.lots.get(index).map(|it| it.lot.clone()), None),
                StockSource::Delivery(index) => (None, Some(index)),
            };
            Unused { lot, delivery, expires_on: it.expires_on, quantity: it.quantity }
        });
        named.collect()
    }
}

fn days(pointer: &str, days: Option<u64>) -> Result<u32, Faults> {
    u32::try_from(days.unwrap_or(0))
        .map_err(|error| vec![FieldError::new(pointer, "OUT_OF_RANGE", error.to_string())])
}
