//! Items as they are and as they were.

use domain::{access::Permission, setup::Item};

use super::{Stored, restore};
use crate::{Actor, App, AppError, projects::ProjectEntry};

/// The most items in one answer.
const MAX_LIMIT: i64 = 1_000;

/// The item `code`.
pub async fn get<T: Item>(
    app: &App,
    _actor: &Actor,
    entry: &ProjectEntry,
    code: &str,
) -> Result<Stored<T>, AppError> {
    entry.require(Permission::ReadProject)?;
    let mut conn = app.begin_in(entry.id).await?;
    let row = store::setup::find(&mut conn, entry.id, T::KIND, code)
        .await?
        .ok_or_else(|| AppError::not_found(format!("{} {code}", T::KIND.name())))?;
    Ok(restore(entry.id, row)?)
}

/// At most `limit` items by code, those after the code `after`.
pub async fn list<T: Item>(
    app: &App,
    _actor: &Actor,
    entry: &ProjectEntry,
    after: Option<&str>,
    limit: i64,
) -> Result<Vec<Stored<T>>, AppError> {
    entry.require(Permission::ReadProject)?;
    let limit = limit.clamp(1, MAX_LIMIT);
    let mut conn = app.begin_in(entry.id).await?;
    let rows = store::setup::list(&mut conn, entry.id, T::KIND, after, limit).await?;
    rows.into_iter().map(|row| restore(entry.id, row).map_err(AppError::from)).collect()
}

/// Every version of the item `code`, the latest first.
pub async fn history<T: Item>(
    app: &App,
    _actor: &Actor,
    entry: &ProjectEntry,
    code: &str,
) -> Result<Vec<Stored<T>>, AppError> {
    entry.require(Permission::ReadProject)?;
    let mut conn = app.begin_in(entry.id).await?;
    let rows = store::setup::history(&mut conn, entry.id, T::KIND, code).await?;
    if rows.is_empty() {
        return Err(AppError::not_found(format!("{} {code}", T::KIND.name())));
    }
    rows.into_iter().map(|row| restore(entry.id, row).map_err(AppError::from)).collect()
}
