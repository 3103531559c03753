//! Gives a lot a longer shelf life after a new test.

use domain::{
    access::Permission,
    setup::{Extend, Lot},
};

use super::refused;
use crate::{
    Actor, App, AppError,
    projects::ProjectEntry,
    setup::{Stored, amend},
};

/// Extends the shelf life of the lot `code`. What was used before the approval is not cured by it.
pub async fn extend(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    code: &str,
    order: &Extend,
) -> Result<Stored<Lot>, AppError> {
    project.require(Permission::ManageQuality)?;
    let now = app.clock.now();
    let mut tx = app.begin_in(project.id).await?;
    let change = |lot: &Lot| lot.extended(order, now, actor.user).map_err(|it| refused(code, &it));
    let amended = amend::<Lot>(app, &mut tx, (project.id, actor.user), code, change).await?;
    if amended.changed {
        crate::jobs::stock_check_soon(&mut tx, project.id, app.clock.now()).await?;
        app.commit(tx).await?;
    }
    Ok(amended.stored)
}
