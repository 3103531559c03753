//! Undoes a movement by its opposite, once.

use chrono::{DateTime, Utc};
use domain::{
    access::Permission,
    ids::MovementId,
    stock::{MovementKind, reversal},
};
use serde_json::Value;

use super::{
    Recorded, Stamp,
    deliveries::take_back,
    post::{post_asked, reversed_already},
    record_movement::from_the_future,
    views::{earlier, recorded},
};
use crate::{Actor, App, AppError, projects::ProjectEntry, retry::Attempts, setup};

/// What is to be undone.
#[derive(Debug, Clone)]
pub struct ReverseOrder {
    /// Id of the new movement.
    pub id: MovementId,
    /// The movement that was wrong.
    pub reverses: MovementId,
    /// Why.
    pub reason: String,
    /// When.
    pub occurred_at: DateTime<Utc>,
    /// What was sent: the same again is the same reversal.
    pub asked: Value,
}

/// Records the opposite of a movement.
pub async fn reverse(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    order: &ReverseOrder,
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
    order: &ReverseOrder,
) -> Result<Recorded, AppError> {
    let now = app.clock.now();
    let mut tx = app.begin_in(project.id).await?;
    let setup = setup::snapshot(app, &mut tx, project.id).await?;
    if let Some(found) = earlier(&mut tx, project.id, order.id.0, &order.asked).await? {
        return recorded(&mut tx, project.id, (found, true), &setup, now).await;
    }
    if let Some(fault) = from_the_future(order.occurred_at, now) {
        return Err(AppError::Invalid(vec![fault]));
    }
    let wrong = store::stock_movements::find(&mut tx, project.id, order.reverses).await?;
    let wrong = wrong.ok_or_else(|| AppError::not_found(format!("movement {}", order.reverses)))?;
    let wrong = wrong.movement;
    if wrong.kind == MovementKind::Consume {
        let detail = "it was used on a joint: correct the fact, and the stock follows".to_owned();
        return Err(AppError::Conflict { code: "NOT_REVERSIBLE", detail });
    }
    let opposite = reversal(&wrong, order.id, Some(order.reason.clone()), order.occurred_at);
    let opposite = opposite.map_err(|why| {
        let detail = why.to_string();
        AppError::Conflict { code: "NOT_REVERSIBLE", detail }
    })?;
    let stamp = Stamp { project: project.id, by: Some(actor.user), now };
    if store::stock_movements::is_reversed(&mut tx, project.id, wrong.id).await? {
        return Err(reversed_already());
    }
    if let Some(delivery) = wrong.delivery {
        take_back(&mut tx, stamp, delivery, wrong.quantity).await?;
    }
    let asked = Some((order.id.0, &order.asked));
    let stored = post_asked(&mut tx, stamp, asked, &[opposite]).await?;
    let answer = recorded(&mut tx, project.id, (stored, false), &setup, now).await?;
    app.commit(tx).await?;
    Ok(answer)
}
