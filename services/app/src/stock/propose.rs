//! Which lots should be handed out first.

use chrono::NaiveDate;
use domain::{
    schema::FieldError,
    stock::{Place, Quantity, number, propose as order},
};
use serde::Serialize;
use utoipa::ToSchema;

use super::balances::{lots_at, on_hand};
use crate::{App, AppError, projects::ProjectEntry, setup};

/// A lot to take from.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ProposedLot {
    /// Code.
    pub lot: String,
    /// How much of it, base units.
    pub quantity: Quantity,
    /// The last day it may be used.
    pub expires_on: Option<NaiveDate>,
}

/// Which lots to take, in order.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ProposalView {
    /// Code of the material.
    pub material: String,
    /// The base unit: m, L, kg or piece.
    pub unit: &'static str,
    /// The lots in order: what expires first goes first.
    pub lots: Vec<ProposedLot>,
    /// What may be handed out in all, base units.
    pub left: f64,
    /// Whether that is enough.
    pub enough: bool,
}

/// Proposes lots of `material` at `from` for `quantity`, as of now.
pub async fn propose(
    app: &App,
    project: &ProjectEntry,
    (material, from): (&str, &str),
    quantity: Quantity,
) -> Result<ProposalView, AppError> {
    let now = app.clock.now();
    let mut tx = app.begin_in(project.id).await?;
    let setup = setup::snapshot(app, &mut tx, project.id).await?;
    let unit = setup.materials.get(material).map(|it| it.unit().symbol());
    let mut faults = Vec::new();
    if unit.is_none() {
        let detail = format!("there is no material `{material}`");
        faults.push(FieldError::new("/material", "UNKNOWN_REFERENCE", detail));
    }
    if !matches!(Place::find(from, &setup), Some(Place::Physical(_))) {
        let detail = format!("there is no location `{from}`");
        faults.push(FieldError::new("/from", "UNKNOWN_REFERENCE", detail));
    }
    let Some(unit) = unit.filter(|_| faults.is_empty()) else {
        return Err(AppError::Invalid(faults));
    };
    let found = lots_at(&mut tx, project.id, &setup, (from, material)).await?;
    let codes: Vec<String> = found.keys().cloned().collect();
    let held = store::stock_balances::list(&mut tx, project.id, Some(from), Some(&codes)).await?;
    let lots: Vec<_> = held
        .iter()
        .map(|it| {
            let received = found.get(&it.lot).copied().flatten();
            on_hand(&setup, &it.lot, it.quantity, received, (now, now))
        })
        .collect();
    let proposal = order(&lots, quantity, setup.day(now));
    let lots = proposal.parts.into_iter().map(|part| ProposedLot {
        expires_on: setup.lots.get(&part.lot).and_then(|lot| lot.last_day_at(now)),
        lot: part.lot,
        quantity: part.quantity,
    });
    Ok(ProposalView {
        material: material.to_owned(),
        unit,
        lots: lots.collect(),
        left: number(proposal.usable),
        enough: proposal.usable >= quantity.value(),
    })
}
