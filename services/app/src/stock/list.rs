//! The ledger.

use domain::{ids::DeliveryId, stock::MovementKind};
use store::stock_movements::Filter;

use super::{MovementView, balances::lots_of};
use crate::{App, AppError, projects::ProjectEntry, setup};

/// Which movements.
#[derive(Debug, Clone, Default)]
pub struct MovementFilter {
    /// From or to this place.
    pub location: Option<String>,
    /// Of this material.
    pub material: Option<String>,
    /// Of this lot.
    pub lot: Option<String>,
    /// Of this kind.
    pub kind: Option<MovementKind>,
    /// Onto this joint, by number or id.
    pub joint: Option<String>,
    /// With this delivery.
    pub delivery: Option<DeliveryId>,
    /// Recorded before that one.
    pub before: Option<i64>,
}

/// At most `limit` movements, the newest recorded first.
pub async fn list(
    app: &App,
    project: &ProjectEntry,
    filter: MovementFilter,
    limit: i64,
) -> Result<Vec<MovementView>, AppError> {
    let mut tx = app.begin_in(project.id).await?;
    let setup = setup::snapshot(app, &mut tx, project.id).await?;
    let joint = match &filter.joint {
        None => None,
        Some(named) => match store::joints::find(&mut tx, project.id, named).await? {
            Some(found) => Some(found.id),
            None => return Ok(Vec::new()),
        },
    };
    let filter = Filter {
        lots: lots_of(&setup, filter.material.as_deref(), filter.lot.as_deref()),
        location: filter.location,
        kind: filter.kind,
        joint,
        delivery: filter.delivery,
        before: filter.before,
    };
    let found = store::stock_movements::list(&mut tx, project.id, &filter, limit).await?;
    Ok(found.into_iter().map(|it| MovementView::new(it, &setup)).collect())
}
