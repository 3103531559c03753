//! Each material's coming days.

use std::{collections::BTreeSet, num::NonZeroUsize};

use calc::{
    InputError, RunOut, RunOutInput, SimulatedRunOut, SimulationInput, StockDelivery, StockLot,
    StockSource, run_out, simulate_run_outs,
};
use chrono::NaiveDate;
use serde::Serialize;
use utoipa::ToSchema;
use uuid::Uuid;

use super::{
    Basis, Demand, Situation, Terms, demand,
    demand::{made_by_working_day, total},
};
use crate::takeoff::UnknownQuantity;

/// Courses of events that are drawn for each material.
const PATHS: u32 = 1000;

/// The same situation gives the same answer on every machine.
const SEED: u64 = 20;

/// What becomes of the stock.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Outlook {
    /// The first day.
    pub start_on: NaiveDate,
    /// How many days it looks ahead.
    pub days: u32,
    /// What the coming days go by.
    pub basis: Basis,
    /// Joints that are not wrapped yet.
    pub joints_left: f64,
    /// Of these, joints that no day of the outlook is planned for.
    pub joints_not_planned: f64,
    /// Joints of each day.
    pub joints_by_day: Vec<f64>,
    /// Material by material, by code.
    pub materials: Vec<MaterialOutlook>,
    /// Quantities that the set-up does not tell; every sum is without them.
    pub unknown: Vec<UnknownQuantity>,
}

/// What becomes of one material. Quantities are in `unit`.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct MaterialOutlook {
    /// Code.
    pub material: String,
    /// Name for people.
    pub name: String,
    /// `m`, `L`, `kg` or `piece`.
    pub unit: String,
    /// At all physical places, usable or not.
    pub on_hand: f64,
    /// Of this, what is in date and not in quarantine.
    pub usable: f64,
    /// Of what is usable, what the joints that are begun still take.
    pub reserved: f64,
    /// Expected within the days of the outlook.
    pub on_order: f64,
    /// What the days of the outlook take.
    pub demand: f64,
    /// What all joints that are left take, planned or not.
    pub demand_left: f64,
    /// The first day on which there is not enough; null where there is none.
    #[schema(required)]
    pub run_out_on: Option<NaiveDate>,
    /// Days before it that are met in full; all days of the outlook where there is none.
    pub days_of_cover: u32,
    /// What is missing over the days of the outlook, with everything that is expected.
    pub shortage: f64,
    /// The last day to order on so that it comes in time; may lie in the past.
    #[schema(required)]
    pub order_by: Option<NaiveDate>,
    /// What to order so that nothing is missing, in whole packs; 0 where nothing is.
    pub order_quantity: f64,
    /// The next delivery.
    #[schema(required)]
    pub next_delivery_on: Option<NaiveDate>,
    /// The run-out by chance: by this day it has come in 10 % of the drawn courses of events; null
    /// where it comes in fewer within the outlook, or where nothing was made yet.
    #[schema(required)]
    pub p10: Option<NaiveDate>,
    /// The same with 50 %.
    #[schema(required)]
    pub p50: Option<NaiveDate>,
    /// The same with 90 %.
    #[schema(required)]
    pub p90: Option<NaiveDate>,
    /// Chance of a run-out before the next delivery, 0 to 1; null without a delivery, or where
    /// nothing was made yet.
    #[schema(required)]
    pub dry_before_next_delivery_chance: Option<f64>,
    /// What is left when its last day passes within the outlook.
    pub expiring_unused: Vec<Unused>,
    /// What is past its last day already.
    pub expired: Vec<Unused>,
    /// Usable at the end of each day; only with `detail`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub on_hand_by_day: Option<Vec<f64>>,
    /// What the run-out was calculated from, in the form of `POST /v1/calculations/run-out`; only
    /// with `detail`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub inputs: Option<RunOutInputs>,
}

/// A quantity that nobody uses in time.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
#[schema(as = UnusedStock)]
pub struct Unused {
    /// Lot; null for a delivery.
    #[schema(required)]
    pub lot: Option<String>,
    /// Delivery; null for a lot.
    #[schema(required)]
    pub delivery: Option<Uuid>,
    /// Its last day.
    pub expires_on: NaiveDate,
    /// How much is left of it.
    pub quantity: f64,
    /// What that cost; null where the material has no price.
    #[schema(required)]
    pub value: Option<f64>,
}

/// What a run-out is calculated from, field for field what the calculator takes.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct RunOutInputs {
    /// The first day.
    pub start_on: NaiveDate,
    /// How many days.
    pub days: u32,
    /// Usable lots.
    pub lots: Vec<HeldQuantity>,
    /// Deliveries.
    pub deliveries: Vec<ExpectedQuantity>,
    /// One value a day.
    pub demand: Vec<f64>,
    /// From order to delivery, calendar days.
    pub lead_time_days: u32,
    /// Reserve of time, calendar days.
    pub safety_days: u32,
    /// What the run-out by chance is drawn from; absent where nothing was made yet.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub simulation: Option<Chance>,
}

/// A lot on hand.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct HeldQuantity {
    /// Its code.
    pub lot: String,
    /// How much.
    pub quantity: f64,
    /// The last day it may be used on; null = it does not expire.
    #[schema(required)]
    pub expires_on: Option<NaiveDate>,
}

/// A delivery that is expected.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct ExpectedQuantity {
    /// When.
    pub on: NaiveDate,
    /// How much.
    pub quantity: f64,
    /// Nobody knows yet what date will be printed on it.
    #[schema(required)]
    pub expires_on: Option<NaiveDate>,
}

/// What a run-out by chance is drawn from.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Chance {
    /// Joints of each working day so far.
    pub production: Vec<f64>,
    /// What a joint takes on the day on which a joint takes most of it.
    pub quantity_per_unit: f64,
    /// Used over taken off, by day of recorded use.
    pub waste_factors: Vec<f64>,
    /// For each day: 0 if it is not worked, else what a joint of that day takes over
    /// `quantity_per_unit`.
    pub working_share: Vec<f64>,
    /// Joints left, each counted as the share of `quantity_per_unit` that it takes.
    pub units_left: f64,
    /// Courses of events.
    pub paths: u32,
    /// Seed.
    pub seed: u64,
}

/// Looks ahead. With `detail`, the days and the inputs of every material are in the answer.
pub fn outlook(situation: &Situation, detail: bool) -> Result<Outlook, InputError> {
    let demand = demand(situation);
    let inputs: Vec<(String, Stock)> = materials(situation, &demand)
        .into_iter()
        .map(|code| (code.to_owned(), Stock::of(situation, &demand, code)))
        .collect();
    let runs = inputs.iter().map(|(_, stock)| stock.run_out());
    let runs: Vec<RunOut> = runs.collect::<Result<_, _>>()?;
    let chances = simulate(&inputs)?;
    let mut materials = Vec::with_capacity(inputs.len());
    for (((code, stock), run), chance) in inputs.into_iter().zip(runs).zip(chances) {
        let terms = situation.terms.get(&code).cloned().unwrap_or_default();
        materials.push(seen(code, stock, run, chance.as_ref(), &terms, &demand, situation, detail));
    }
    Ok(Outlook {
        start_on: situation.today,
        days: situation.days,
        basis: situation.basis,
        joints_left: demand.joints_left,
        joints_not_planned: demand.joints_after,
        joints_by_day: demand.joints,
        materials,
        unknown: demand.unknown,
    })
}

/// Every material that is held, expected or needed.
fn materials<'a>(situation: &'a Situation, demand: &'a Demand) -> BTreeSet<&'a str> {
    let held = situation.held.iter().map(|it| it.material.as_str());
    let expected = situation.expected.iter().map(|it| it.material.as_str());
    held.chain(expected).chain(demand.left.keys().map(String::as_str)).collect()
}

/// One material as the calculations take it.
struct Stock {
    inputs: RunOutInputs,
    lots: Vec<StockLot>,
    deliveries: Vec<StockDelivery>,
    ids: Vec<Uuid>,
    on_hand: f64,
    expired: Vec<Unused>,
}

impl Stock {
    fn of(situation: &Situation, demand: &Demand, material: &str) -> Self {
        let terms = situation.terms.get(material).cloned().unwrap_or_default();
        let held: Vec<_> = situation.held.iter().filter(|it| it.material == material).collect();
        let expired = |last: Option<NaiveDate>| last.is_some_and(|last| last < situation.today);
        let usable = held.iter().filter(|it| !it.quarantined && !expired(it.last_day));
        let lots: Vec<HeldQuantity> = usable
            .map(|it| HeldQuantity {
                lot: it.lot.clone(),
                quantity: it.quantity,
                expires_on: it.last_day,
            })
            .collect();
        let past = held.iter().filter_map(|it| {
            let expires_on = it.last_day.filter(|_| expired(it.last_day))?;
            Some(Unused {
                lot: Some(it.lot.clone()),
                delivery: None,
                expires_on,
                quantity: it.quantity,
                value: terms.unit_cost.map(|cost| cost * it.quantity),
            })
        });
        let expected: Vec<_> =
            situation.expected.iter().filter(|it| it.material == material).collect();
        let deliveries = expected.iter().map(|it| ExpectedQuantity {
            // What is late is expected every day.
            on: it.on.max(situation.today),
            quantity: it.quantity,
            expires_on: None,
        });
        let inputs = RunOutInputs {
            start_on: situation.today,
            days: situation.days,
            deliveries: deliveries.collect(),
            demand: daily(situation, demand, material),
            lead_time_days: terms.lead_time_days,
            safety_days: terms.safety_days,
            simulation: chance(situation, demand, material),
            lots,
        };
        Self {
            on_hand: total(held.iter().map(|it| it.quantity)),
            expired: past.collect(),
            ids: expected.iter().map(|it| it.id).collect(),
            lots: stock_lots(&inputs),
            deliveries: stock_deliveries(&inputs),
            inputs,
        }
    }

    fn run_out(&self) -> Result<RunOut, InputError> {
        run_out(&RunOutInput {
            start_on: self.inputs.start_on,
            days: self.inputs.days,
            lots: &self.lots,
            deliveries: &self.deliveries,
            demand: &self.inputs.demand,
            lead_time_days: self.inputs.lead_time_days,
            safety_days: self.inputs.safety_days,
        })
    }

    fn simulation<'a>(&'a self, chance: &'a Chance) -> SimulationInput<'a> {
        SimulationInput {
            start_on: self.inputs.start_on,
            days: self.inputs.days,
            lots: &self.lots,
            deliveries: &self.deliveries,
            production: &chance.production,
            quantity_per_unit: chance.quantity_per_unit,
            waste_factors: &chance.waste_factors,
            working_share: &chance.working_share,
            units_left: Some(chance.units_left),
            paths: chance.paths,
            seed: chance.seed,
        }
    }
}

fn stock_lots(inputs: &RunOutInputs) -> Vec<StockLot> {
    let lots = inputs.lots.iter();
    lots.map(|it| StockLot { quantity: it.quantity, expires_on: it.expires_on }).collect()
}

fn stock_deliveries(inputs: &RunOutInputs) -> Vec<StockDelivery> {
    let deliveries = inputs.deliveries.iter();
    deliveries
        .map(|it| StockDelivery { on: it.on, quantity: it.quantity, expires_on: it.expires_on })
        .collect()
}

/// By the take-off, times the waste that the site's own records tell.
fn daily(situation: &Situation, demand: &Demand, material: &str) -> Vec<f64> {
    let factor = mean(situation.waste.get(material).map_or(&[][..], Vec::as_slice)).unwrap_or(1.0);
    let days = demand.by_material.get(material);
    days.map(|days| days.iter().map(|quantity| quantity * factor).collect()).unwrap_or_default()
}

/// The coming days as draws from the days so far.
///
/// Which share of the joints takes the material changes from day to day with the sections, so it
/// stands in the share of the day; after the last planned day it stays as it was, for work that is
/// late goes on.
fn chance(situation: &Situation, demand: &Demand, material: &str) -> Option<Chance> {
    let production = made_by_working_day(situation, None);
    let days = demand.by_material.get(material)?;
    let each = |index: usize| {
        let joints = demand.joints.get(index).copied().unwrap_or(0.0);
        let quantity = days.get(index).copied().unwrap_or(0.0);
        if joints > 0.0 { quantity / joints } else { 0.0 }
    };
    let most = (0..days.len()).map(each).fold(0.0, f64::max);
    let last = days.iter().rposition(|quantity| *quantity > 0.0)?;
    if production.is_empty() || most <= 0.0 {
        return None;
    }
    let after = each(last) / most;
    // Today is over in part: what was made is not drawn again.
    let usual = mean(&production).unwrap_or(0.0);
    let of_today = demand.joints.first().map_or(1.0, |joints| joints / usual.max(f64::EPSILON));
    let share = situation.dates().enumerate().map(|(index, on)| {
        let worked = situation.setup.calendar.is_working(on)
            && !situation.lost.iter().any(|lost| lost.on == on && lost.spread.is_none());
        let share = if index > last { after } else { each(index) / most };
        let share = if index == 0 { share * of_today.min(1.0) } else { share };
        // The days so far had their weather; a day on which nobody can work is told by the outlook.
        if worked && !rained_off(situation, on) { share.min(1.0) } else { 0.0 }
    });
    Some(Chance {
        quantity_per_unit: most,
        waste_factors: situation.waste.get(material).cloned().unwrap_or_default(),
        working_share: share.collect(),
        units_left: demand.left.get(material).copied().unwrap_or(0.0) / most,
        paths: PATHS,
        seed: SEED,
        production,
    })
}

/// Whether the outlooks leave no spread a workable hour on `on`, and tell all of them.
fn rained_off(situation: &Situation, on: NaiveDate) -> bool {
    let told = || situation.workable.iter().filter(|it| it.on == on);
    let sections = situation.setup.sections.values();
    let mut spreads = sections.filter_map(|it| it.spread.as_deref());
    told().next().is_some()
        && told().all(|it| it.share <= 0.0)
        && spreads.all(|spread| told().any(|it| it.spread == spread))
}

fn simulate(inputs: &[(String, Stock)]) -> Result<Vec<Option<SimulatedRunOut>>, InputError> {
    let stocks = inputs.iter().map(|(_, stock)| stock);
    let wanted: Vec<_> = stocks
        .clone()
        .filter_map(|stock| Some(stock.simulation(stock.inputs.simulation.as_ref()?)))
        .collect();
    let mut done = simulate_run_outs(&wanted, NonZeroUsize::MIN).into_iter();
    stocks
        .map(|stock| match stock.inputs.simulation {
            Some(_) => done.next().transpose(),
            None => Ok(None),
        })
        .collect()
}

#[expect(clippy::too_many_arguments, reason = "each is one part of what is put together here")]
fn seen(
    material: String,
    stock: Stock,
    run: RunOut,
    chance: Option<&SimulatedRunOut>,
    terms: &Terms,
    demand: &Demand,
    situation: &Situation,
    detail: bool,
) -> MaterialOutlook {
    let unused = run.expiring_unused.iter().map(|it| {
        let (lot, delivery) = match it.source {
            StockSource::Lot(index) => {
                (stock.inputs.lots.get(index).map(|it| it.lot.clone()), None)
            }
            StockSource::Delivery(index) => (None, stock.ids.get(index).copied()),
        };
        let value = terms.unit_cost.map(|cost| cost * it.quantity);
        Unused { lot, delivery, expires_on: it.expires_on, quantity: it.quantity, value }
    });
    let expiring_unused = unused.collect();
    let usable = total(stock.lots.iter().map(|it| it.quantity));
    let within = stock
        .deliveries
        .iter()
        .filter(|it| (it.on - situation.today).num_days() < i64::from(situation.days));
    let next = stock.deliveries.iter().filter(|it| it.quantity > 0.0).map(|it| it.on).min();
    MaterialOutlook {
        name: terms.name.clone(),
        unit: terms.unit.clone(),
        on_hand: stock.on_hand,
        usable,
        reserved: demand.reserved.get(&material).copied().unwrap_or(0.0).min(usable),
        on_order: total(within.map(|it| it.quantity)),
        demand: total(stock.inputs.demand.iter().copied()),
        demand_left: demand.left.get(&material).copied().unwrap_or(0.0),
        run_out_on: run.run_out_on,
        days_of_cover: run.days_of_cover,
        shortage: run.shortage,
        order_by: run.order_by,
        order_quantity: in_packs(run.shortage, terms.pack_quantity),
        next_delivery_on: next,
        p10: chance.and_then(|it| it.p10),
        p50: chance.and_then(|it| it.p50),
        p90: chance.and_then(|it| it.p90),
        dry_before_next_delivery_chance: chance.and_then(|it| it.dry_before_next_delivery_chance),
        expiring_unused,
        expired: stock.expired,
        on_hand_by_day: detail.then_some(run.on_hand),
        inputs: detail.then_some(stock.inputs),
        material,
    }
}

/// `quantity` in whole packs.
fn in_packs(quantity: f64, pack: Option<f64>) -> f64 {
    match pack.filter(|pack| *pack > 0.0) {
        Some(pack) => (quantity / pack).ceil() * pack,
        None => quantity,
    }
}

fn mean(values: &[f64]) -> Option<f64> {
    let count = u32::try_from(values.len()).ok().filter(|count| *count > 0)?;
    Some(values.iter().sum::<f64>() / f64::from(count))
}
