//! A new version of an item by an operation that changes only a part of it.

use domain::{
    ids::{ProjectId, UserId},
    setup::Item,
};
use serde_json::json;
use store::{Tx, setup::StoredItem};

use super::{Stored, restore};
use crate::{App, AppError};

/// An item after an operation on it.
#[derive(Debug, Clone)]
pub(crate) struct Amended<T> {
    /// The item as it is now.
    pub stored: Stored<T>,
    /// Whether there is a new version.
    pub changed: bool,
}

/// Stores what `change` makes of the item `code`; nothing where it makes nothing of it.
///
/// The caller has asked for the permission and commits. From here on the transaction holds the
/// set-up of the project.
pub(crate) async fn amend<T: Item>(
    app: &App,
    tx: &mut Tx,
    (project, by): (ProjectId, UserId),
    code: &str,
    change: impl FnOnce(&T) -> Result<Option<T>, AppError>,
) -> Result<Amended<T>, AppError> {
    let name = T::KIND.name();
    // First, for it makes changes of one project's set-up take turns.
    let raised = store::projects::raise_setup_version(tx, project).await?;
    raised.ok_or_else(|| AppError::not_found(format!("project {project}")))?;
    let before = store::setup::find(tx, project, T::KIND, code).await?;
    let before = before.ok_or_else(|| AppError::not_found(format!("{name} {code}")))?;
    let before: Stored<T> = restore(project, before)?;
    let Some(item) = change(&before.item)? else {
        return Ok(Amended { stored: before, changed: false });
    };
    let faults = item.faults();
    if !faults.is_empty() {
        return Err(AppError::Invalid(faults));
    }
    let row = StoredItem {
        code: code.to_owned(),
        version: before.version + 1,
        body: serde_json::to_value(&item).map_err(|error| AppError::internal(&error))?,
        changed_by: by,
        changed_at: app.clock.now(),
    };
    if !store::setup::update(tx, project, T::KIND, &row).await? {
        return Err(AppError::Internal(format!("{name} {code} changed under a lock")));
    }
    let told = json!({ "kind": name, "code": row.code, "version": row.version });
    store::feed::note(tx, project, ("setup.changed", &row.code), &told, row.changed_at).await?;
    let StoredItem { version, changed_by, changed_at, .. } = row;
    let stored = Stored { item, version, changed_by, changed_at, created: false };
    Ok(Amended { stored, changed: true })
}
