//! What is there.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate, Utc};
use domain::{
    ids::ProjectId,
    setup::ProjectSetup,
    stock::{IssueRefusal, LotOnHand, number},
};
use serde::Serialize;
use store::{PgConnection, stock_balances::Balance};
use utoipa::ToSchema;

use crate::{App, AppError, projects::ProjectEntry, setup};

/// What one place holds of one lot.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct BalanceView {
    /// Code of the place.
    pub location: String,
    /// Code of the lot.
    pub lot: String,
    /// Code of its material.
    pub material: Option<String>,
    /// How much, base units. Only `supplier`, `adjustment` and `unrecorded` can be under zero.
    pub quantity: f64,
    /// The base unit: m, L, kg or piece.
    pub unit: Option<&'static str>,
    /// The last day it may be used.
    pub expires_on: Option<NaiveDate>,
    /// It may be handed out today.
    pub usable: bool,
    /// Every reason why it may not.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub why_not: Vec<IssueRefusal>,
}

/// Which balances.
#[derive(Debug, Clone, Default)]
pub struct BalanceFilter {
    /// At this place.
    pub location: Option<String>,
    /// Of this material.
    pub material: Option<String>,
    /// Of this lot.
    pub lot: Option<String>,
}

/// The balances that are not zero, by location and lot.
pub async fn balances(
    app: &App,
    project: &ProjectEntry,
    filter: &BalanceFilter,
) -> Result<Vec<BalanceView>, AppError> {
    let mut tx = app.begin_in(project.id).await?;
    let setup = setup::snapshot(app, &mut tx, project.id).await?;
    let lots = lots_of(&setup, filter.material.as_deref(), filter.lot.as_deref());
    let location = filter.location.as_deref();
    let found = store::stock_balances::list(&mut tx, project.id, location, lots.as_deref()).await?;
    Ok(views_of(found, &setup, app.clock.now()))
}

/// The lots that a filter names; none if it names neither lot nor material.
pub(super) fn lots_of(
    setup: &ProjectSetup,
    material: Option<&str>,
    lot: Option<&str>,
) -> Option<Vec<String>> {
    if material.is_none() && lot.is_none() {
        return None;
    }
    let fits = |it: &&domain::setup::Lot| {
        material.is_none_or(|code| it.material == code) && lot.is_none_or(|code| it.code == code)
    };
    Some(setup.lots.values().filter(fits).map(|it| it.code.clone()).collect())
}

pub(super) fn views_of(
    balances: Vec<Balance>,
    setup: &ProjectSetup,
    now: DateTime<Utc>,
) -> Vec<BalanceView> {
    let today = setup.day(now);
    let view = |Balance { location, lot, quantity }: Balance| {
        let known = setup.lots.get(&lot);
        let material = known.map(|it| it.material.clone());
        let unit = material.as_ref().and_then(|code| setup.materials.get(code));
        let on_hand = on_hand(setup, &lot, quantity, None, (now, now));
        let blocked = on_hand.blocked(today);
        let why_not: Vec<IssueRefusal> =
            blocked.iter().map(|it| IssueRefusal::blocked(&lot, it)).collect();
        BalanceView {
            quantity: number(quantity),
            unit: unit.map(|it| it.unit().symbol()),
            expires_on: on_hand.last_day,
            usable: domain::stock::Place::is_physical(&location) && on_hand.is_usable(today),
            material,
            location,
            lot,
            why_not,
        }
    };
    balances.into_iter().map(view).collect()
}

/// What is known of a lot: its last day and a quarantine at `at`, or at `now`, which nobody can
/// date back.
pub(super) fn on_hand(
    setup: &ProjectSetup,
    lot: &str,
    quantity: rust_decimal::Decimal,
    received_at: Option<DateTime<Utc>>,
    (at, now): (DateTime<Utc>, DateTime<Utc>),
) -> LotOnHand {
    let known = setup.lots.get(lot);
    let held = known.and_then(|it| it.quarantined_at(now).or_else(|| it.quarantined_at(at)));
    LotOnHand {
        lot: lot.to_owned(),
        quantity,
        last_day: known.and_then(|it| it.last_day_at(at)),
        received_at,
        quarantined: held.map(|it| it.reason.clone()),
    }
}

/// The lots of `material` that `from` holds, with what decides on their order.
pub(super) async fn lots_at(
    conn: &mut PgConnection,
    project: ProjectId,
    setup: &ProjectSetup,
    (from, material): (&str, &str),
) -> Result<BTreeMap<String, Option<DateTime<Utc>>>, AppError> {
    let lots = lots_of(setup, Some(material), None);
    let held = store::stock_balances::list(conn, project, Some(from), lots.as_deref()).await?;
    let held: Vec<String> = held.into_iter().map(|it| it.lot).collect();
    let receipts = store::stock_balances::first_receipts(conn, project, &held).await?;
    let receipts: BTreeMap<String, DateTime<Utc>> = receipts.into_iter().collect();
    Ok(held.into_iter().map(|lot| (lot.clone(), receipts.get(&lot).copied())).collect())
}
