//! The projects of the caller.

use super::ProjectEntry;
use crate::{Actor, App, AppError};

/// The projects that `actor` is a member of, by code.
pub async fn list(app: &App, actor: &Actor) -> Result<Vec<ProjectEntry>, AppError> {
    let mut conn = app.begin_as(actor.user).await?;
    let memberships = store::projects::list_memberships(&mut conn, actor.user).await?;
    memberships.into_iter().map(|it| ProjectEntry::try_from(it).map_err(AppError::from)).collect()
}
