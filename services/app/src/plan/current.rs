//! The one plan and the one calendar of a project.

use domain::{access::Permission, ids::UserId, setup::Item};
use serde::Serialize;

use crate::{
    Actor, App, AppError,
    projects::ProjectEntry,
    setup::{self, Stored},
};

/// What is in force; before anybody has said anything, the usual at version 0.
pub async fn current<T: Item + Default>(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
) -> Result<Stored<T>, AppError> {
    project.require(Permission::ReadProject)?;
    let usual = T::default();
    match setup::get::<T>(app, actor, project, usual.code()).await {
        Err(AppError::NotFound { .. }) => Ok(Stored {
            item: usual,
            version: 0,
            changed_by: UserId(uuid::Uuid::nil()),
            changed_at: chrono::DateTime::UNIX_EPOCH,
            created: false,
        }),
        found => found,
    }
}

/// Puts `item` in the place of the version that the caller has seen; 0 where there was none.
pub async fn replace<T: Item + Serialize>(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    item: T,
    seen: Option<i64>,
) -> Result<Stored<T>, AppError> {
    setup::put(app, actor, project, item, seen.filter(|version| *version > 0)).await
}
