//! Records what was received, moved, brought back or thrown away.

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use domain::{
    access::Permission,
    ids::{DeliveryId, MovementId},
    schema::{FieldError, Validate},
    setup::{Item, Lot, ProjectSetup},
    stock::{MovementKind, NewMovement, Quantity, misplaced},
};
use serde_json::{Value, json};
use store::{Tx, setup::StoredItem};

use super::{
    Recorded, Stamp,
    deliveries::receive_into,
    post::post_asked,
    views::{earlier, recorded},
};
use crate::{Actor, App, AppError, projects::ProjectEntry, retry::Attempts, setup};

/// How far a clock in the field may be ahead of the server's.
const AHEAD: TimeDelta = TimeDelta::minutes(10);

/// A lot that is not set up yet, as its label says.
#[derive(Debug, Clone)]
pub struct NewLot {
    /// Code of its material.
    pub material: String,
    /// Production date.
    pub produced_on: Option<NaiveDate>,
    /// Last day it may be used.
    pub expires_on: Option<NaiveDate>,
}

impl NewLot {
    /// The lot of that code.
    pub(super) fn named(&self, code: &str) -> Lot {
        Lot {
            code: code.to_owned(),
            material: self.material.clone(),
            produced_on: self.produced_on,
            expires_on: self.expires_on,
            quarantines: Vec::new(),
            extensions: Vec::new(),
        }
    }
}

/// What moves: one lot from one place to another.
#[derive(Debug, Clone)]
pub struct Move {
    /// `Receive`, `Transfer`, `Return` or `Scrap`.
    pub kind: MovementKind,
    /// Code of the lot.
    pub lot: String,
    /// How much, base units.
    pub quantity: Quantity,
    /// Code of the place it leaves.
    pub from: String,
    /// Code of the place it reaches.
    pub to: String,
    /// The delivery it came with.
    pub delivery: Option<DeliveryId>,
    /// What the lot is, if it is not set up yet.
    pub new_lot: Option<NewLot>,
}

/// A movement to record.
#[derive(Debug, Clone)]
pub struct MoveOrder {
    /// Id.
    pub id: MovementId,
    /// What moves.
    pub what: Move,
    /// Why.
    pub reason: Option<String>,
    /// When it happened.
    pub occurred_at: DateTime<Utc>,
    /// What was sent: the same again is the same movement.
    pub asked: Value,
}

/// Records a movement of one lot.
pub async fn record_movement(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    order: &MoveOrder,
) -> Result<Recorded, AppError> {
    project.require(Permission::MoveStock)?;
    let mut attempts = Attempts::default();
    loop {
        match attempt(app, actor, project, order).await {
            Err(AppError::Contended) if attempts.again().await => {}
            done => return done,
        }
    }
}

async fn attempt(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    order: &MoveOrder,
) -> Result<Recorded, AppError> {
    let now = app.clock.now();
    let mut tx = app.begin_in(project.id).await?;
    let setup = setup::snapshot(app, &mut tx, project.id).await?;
    if let Some(found) = earlier(&mut tx, project.id, order.id.0, &order.asked).await? {
        return recorded(&mut tx, project.id, (found, true), &setup, now).await;
    }
    let what = &order.what;
    let faults = faults(order, &setup, now);
    if !faults.is_empty() {
        return Err(AppError::Invalid(faults));
    }
    let stamp = Stamp { project: project.id, by: Some(actor.user), now };
    // First what is locked for the whole project, then the delivery, then the balances.
    let mut known = setup;
    if let Some(new) = &what.new_lot {
        let lot = new.named(&what.lot);
        if put_lot(&mut tx, stamp, &known, &lot).await? {
            let mut with_lot = ProjectSetup::clone(&known);
            with_lot.lots.insert(lot.code.clone(), lot);
            known = std::sync::Arc::new(with_lot);
        }
    }
    if let Some(delivery) = what.delivery {
        let material = known.lots.get(&what.lot).map(|it| it.material.as_str());
        let arrived = [(delivery, material.unwrap_or_default(), what.quantity)];
        receive_into(&mut tx, stamp, &arrived).await?;
    }
    let mut movement = NewMovement::plain(
        (order.id, what.kind),
        (&what.lot, what.quantity),
        (&what.from, &what.to),
        order.occurred_at,
    );
    movement.delivery = what.delivery;
    movement.reason.clone_from(&order.reason);
    let asked = Some((order.id.0, &order.asked));
    let stored = post_asked(&mut tx, stamp, asked, &[movement]).await?;
    let answer = recorded(&mut tx, project.id, (stored, false), &known, now).await?;
    app.commit(tx).await?;
    Ok(answer)
}

fn faults(order: &MoveOrder, setup: &ProjectSetup, now: DateTime<Utc>) -> Vec<FieldError> {
    let what = &order.what;
    let mut faults = misplaced(what.kind, &what.from, &what.to, setup);
    faults.extend(from_the_future(order.occurred_at, now));
    match &what.new_lot {
        None if !setup.lots.contains_key(&what.lot) => {
            let detail = format!("there is no lot `{}`; describe it in `new_lot`", what.lot);
            faults.push(FieldError::new("/lot", "UNKNOWN_REFERENCE", detail));
        }
        None => {}
        Some(new) => {
            if !setup.materials.contains_key(&new.material) {
                let detail = format!("there is no material `{}`", new.material);
                faults.push(FieldError::new("/new_lot/material", "UNKNOWN_REFERENCE", detail));
            }
            let of_lot = new.named(&what.lot).faults().into_iter();
            faults.extend(of_lot.map(|fault| FieldError {
                pointer: fault.pointer.replacen("#/", "#/new_lot/", 1),
                ..fault
            }));
        }
    }
    faults
}

/// A movement that has not happened yet is a plan.
pub(super) fn from_the_future(at: DateTime<Utc>, now: DateTime<Utc>) -> Option<FieldError> {
    let detail = "is in the future: a movement is recorded when it has happened";
    (at > now + AHEAD).then(|| FieldError::new("/occurred_at", "OUT_OF_RANGE", detail))
}

/// Sets up `lot`, unless the same is set up already; says whether it did.
pub(super) async fn put_lot(
    tx: &mut Tx,
    stamp: Stamp,
    setup: &ProjectSetup,
    lot: &Lot,
) -> Result<bool, AppError> {
    if let Some(known) = setup.lots.get(&lot.code) {
        same(known, lot)?;
        return Ok(false);
    }
    let by = stamp.by.ok_or_else(|| AppError::Internal("a lot that nobody set up".to_owned()))?;
    // From here on nobody else changes the set-up of this project.
    store::projects::raise_setup_version(tx, stamp.project).await?;
    if let Some(found) = store::setup::find(tx, stamp.project, Lot::KIND, &lot.code).await? {
        let known: Lot =
            serde_json::from_value(found.body).map_err(|error| AppError::internal(&error))?;
        same(&known, lot)?;
        return Ok(true);
    }
    let item = StoredItem {
        code: lot.code.clone(),
        version: 1,
        body: serde_json::to_value(lot).map_err(|error| AppError::internal(&error))?,
        changed_by: by,
        changed_at: stamp.now,
    };
    store::setup::insert(tx, stamp.project, Lot::KIND, &item).await?;
    let told = json!({ "kind": Lot::KIND.name(), "code": lot.code, "version": 1 });
    let topic = ("setup.changed", lot.code.as_str());
    store::feed::note(tx, stamp.project, topic, &told, stamp.now).await?;
    Ok(true)
}

/// A label that says something else than the books is for people to look at.
fn same(known: &Lot, lot: &Lot) -> Result<(), AppError> {
    let differs = known.material != lot.material
        || lot.expires_on.is_some() && known.expires_on != lot.expires_on
        || lot.produced_on.is_some() && known.produced_on != lot.produced_on;
    if !differs {
        return Ok(());
    }
    let day = |day: Option<NaiveDate>| day.map_or("no day".to_owned(), |day| day.to_string());
    let detail = format!(
        "lot {} is set up already, as {} produced on {} and expiring on {}: look at the label again",
        known.code,
        known.material,
        day(known.produced_on),
        day(known.expires_on)
    );
    Err(AppError::Conflict { code: "LOT_DIFFERS", detail })
}
