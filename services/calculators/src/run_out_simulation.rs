//! When the stock may run out, drawn from the site's own days.

use calc::{RunOutInput, SimulationInput};
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    faults::{Faults, of_input, out_of_range},
    run_out::Quantity,
    whole::{optional, whole},
};

/// Most days and deliveries on all paths of one request together: a fraction of a second of one
/// core. A path goes over its days and, where none fall together, over every delivery.
const MOST_WORK: u64 = 10_000_000;

/// Paths if none are asked for.
const USUAL_PATHS: u64 = 1000;

/// What the coming days are drawn from; `demand` is not looked at here.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = RunOutSimulation)]
pub struct Simulation {
    /// What the site made on each recorded working day, such as joints.
    #[schema(min_items = 1, max_items = 3660, value_type = Vec<Quantity>)]
    pub production: Vec<f64>,
    /// What one made unit takes off the stock, without waste.
    #[schema(minimum = 0, maximum = 1_000_000)]
    pub quantity_per_unit: f64,
    /// Recorded waste factors, used over taken off, such as 1.06; none = no waste.
    #[serde(default)]
    #[schema(max_items = 3660, value_type = Vec<WasteFactor>)]
    pub waste_factors: Vec<f64>,
    /// Share of each coming day that can be worked, 0 on days off; 1 after the last value.
    #[serde(default)]
    #[schema(max_items = 3660, value_type = Vec<WorkingShare>)]
    pub working_share: Vec<f64>,
    /// Units left to make, after which demand ends; without end if absent.
    #[schema(minimum = 0, maximum = 1_000_000_000)]
    pub units_left: Option<f64>,
    /// How many courses of events, 1000 if absent; times the sum of `days` and the number of
    /// deliveries at most 10 000 000.
    #[serde(default, deserialize_with = "optional")]
    #[schema(minimum = 1, maximum = 10_000)]
    pub paths: Option<u64>,
    /// The same seed gives the same answer.
    #[serde(deserialize_with = "whole")]
    #[schema(minimum = 0, maximum = 9_007_199_254_740_991_u64)]
    pub seed: u64,
}

/// Used over taken off.
#[derive(ToSchema, Deserialize)]
#[schema(exclusive_minimum = 0, maximum = 100)]
#[expect(dead_code, reason = "only its schema is used: a list cannot bound its numbers itself")]
pub(crate) struct WasteFactor(f64);

/// Share of a day.
#[derive(ToSchema, Deserialize)]
#[schema(minimum = 0, maximum = 1)]
#[expect(dead_code, reason = "only its schema is used: a list cannot bound its numbers itself")]
pub(crate) struct WorkingShare(f64);

/// How the drawn courses of events end.
#[derive(Debug, Clone, Serialize, ToSchema)]
#[schema(as = RunOutSimulationAnswer)]
pub struct SimulationAnswer {
    /// How many there were.
    pub paths: u32,
    /// The earliest day by which at least 10 % have run out; null where fewer do.
    #[schema(required)]
    pub p10: Option<NaiveDate>,
    /// The same with 50 %.
    #[schema(required)]
    pub p50: Option<NaiveDate>,
    /// The same with 90 %.
    #[schema(required)]
    pub p90: Option<NaiveDate>,
    /// Share that runs out within the days, 0 to 1.
    pub run_out_chance: f64,
    /// The first delivery of more than 0 that is usable on arrival, after the first day; null
    /// without one.
    #[schema(required)]
    pub next_delivery_on: Option<NaiveDate>,
    /// Share that runs out before that delivery; null without one.
    #[schema(required)]
    pub dry_before_next_delivery_chance: Option<f64>,
}

impl Simulation {
    fn paths(&self) -> u64 {
        self.paths.unwrap_or(USUAL_PATHS)
    }

    /// Refuses more work than one request may ask for.
    pub(crate) fn check_work(&self, days: u64, deliveries: usize, faults: &mut Faults) {
        let each = u64::try_from(deliveries).unwrap_or(u64::MAX).saturating_add(days);
        let (paths, most) = (self.paths(), MOST_WORK / each.max(1));
        if paths > most {
            let detail = format!(
                "{paths} paths of {days} days and {deliveries} deliveries are too much work: with \
                 so many of these it must be from 1 to {most} paths"
            );
            faults.push(out_of_range("/simulation/paths", detail));
        }
    }

    /// Simulates the stock of `stock`.
    pub(crate) fn run(&self, stock: &RunOutInput<'_>) -> Result<SimulationAnswer, Faults> {
        let paths = u32::try_from(self.paths())
            .map_err(|error| vec![out_of_range("/simulation/paths", error.to_string())])?;
        let found = calc::simulate_run_out(&SimulationInput {
            start_on: stock.start_on,
            days: stock.days,
            lots: stock.lots,
            deliveries: stock.deliveries,
            production: &self.production,
            quantity_per_unit: self.quantity_per_unit,
            waste_factors: &self.waste_factors,
            working_share: &self.working_share,
            units_left: self.units_left,
            paths,
            seed: self.seed,
        });
        let found = found.map_err(|mut error| {
            for fault in &mut error.faults {
                if !fault.field.starts_with("lots") && !fault.field.starts_with("deliveries") {
                    fault.field = format!("simulation/{}", fault.field);
                }
            }
            of_input(error)
        })?;
        Ok(SimulationAnswer {
            paths: found.paths,
            p10: found.p10,
            p50: found.p50,
            p90: found.p90,
            run_out_chance: found.run_out_chance,
            next_delivery_on: found.next_delivery_on,
            dry_before_next_delivery_chance: found.dry_before_next_delivery_chance,
        })
    }
}
