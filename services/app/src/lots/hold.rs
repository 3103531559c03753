//! Puts a lot into quarantine and lifts it; tells at once where the lot went.

use domain::{
    access::Permission,
    ids::ProjectId,
    setup::{Hold, Lift, Lot},
};
use serde_json::json;
use store::{Tx, warnings::Raised};

use super::{LotTrace, TracePage, refused, trace::traced};
use crate::{
    Actor, App, AppError,
    jobs::{FollowRecall, not_enqueued, stock_check_soon},
    new_id,
    projects::ProjectEntry,
    setup::{Stored, amend},
};

/// The kind of the warning.
const KIND: &str = "recalled_lot_in_use";

/// Most joints that are told with the answer.
const SHOWN: i64 = 500;

/// A quarantine and where the lot went.
#[derive(Debug, Clone)]
pub struct Held {
    /// Where the lot went.
    pub trace: LotTrace,
    /// It was placed by this very order before.
    pub repeated: bool,
}

/// Puts the lot `code` into quarantine.
///
/// Joints that were released or buried with the lot while it counts as held are warned of; what is
/// to be done with each is decided in nonconformances that a job opens.
pub async fn hold(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    code: &str,
    order: &Hold,
) -> Result<Held, AppError> {
    project.require(Permission::HoldLots)?;
    let now = app.clock.now();
    let mut tx = app.begin_in(project.id).await?;
    let who = (project.id, actor.user);
    let change = |lot: &Lot| lot.held(order, now, actor.user).map_err(|it| refused(code, &it));
    let amended = amend::<Lot>(app, &mut tx, who, code, change).await?;
    let lot = &amended.stored.item;
    let page = TracePage { limit: SHOWN, ..TracePage::default() };
    let trace = traced(&mut tx, project.id, (code, Some(lot)), now, page).await?;
    if amended.changed {
        warn(app, &mut tx, project.id, &trace, &order.reason).await?;
        follow(&mut tx, project.id, code).await?;
    }
    stock_check_soon(&mut tx, project.id, now).await?;
    app.commit(tx).await?;
    Ok(Held { trace, repeated: !amended.changed })
}

async fn warn(
    app: &App,
    tx: &mut Tx,
    project: ProjectId,
    trace: &LotTrace,
    reason: &str,
) -> Result<(), AppError> {
    let places = trace.used_in_quarantine;
    if places.buried == 0 && places.released == 0 {
        return Ok(());
    }
    let (now, lot) = (app.clock.now(), trace.lot.as_str());
    let detail = format!(
        "lot {lot} is recalled ({reason}): it is on {} joints under the soil, on {} that are \
         released for backfill and on {} others",
        places.buried, places.released, places.not_released
    );
    let values = json!({
        "buried": places.buried, "released": places.released, "not_released": places.not_released,
    });
    let (id, severity, detail) = (new_id(now), "urgent", detail.as_str());
    let warning = Raised { id, kind: KIND, subject: lot, severity, detail, values };
    store::warnings::raise(tx, project, &warning, now).await?;
    Ok(())
}

/// Asks for the nonconformances of the joints that the lot is on.
async fn follow(tx: &mut Tx, project: ProjectId, code: &str) -> Result<(), AppError> {
    let job = FollowRecall { project, lot: code.to_owned() };
    jobs::enqueue(tx, &job).await.map_err(not_enqueued)?;
    Ok(())
}

/// Lifts the quarantine of the lot `code`. What was used while it held stays so, unless the
/// suspicion was unfounded.
pub async fn lift(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    code: &str,
    order: &Lift,
) -> Result<Stored<Lot>, AppError> {
    project.require(Permission::ManageQuality)?;
    let now = app.clock.now();
    let mut tx = app.begin_in(project.id).await?;
    let who = (project.id, actor.user);
    let change =
        |lot: &Lot| lot.lifted(order, now, actor.user).map(Some).map_err(|it| refused(code, &it));
    let amended = amend::<Lot>(app, &mut tx, who, code, change).await?;
    if order.unfounded {
        store::warnings::clear(&mut tx, project.id, KIND, code, now).await?;
    }
    follow(&mut tx, project.id, code).await?;
    stock_check_soon(&mut tx, project.id, now).await?;
    app.commit(tx).await?;
    Ok(amended.stored)
}
