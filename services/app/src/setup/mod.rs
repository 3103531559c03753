//! What a project is set up with.

mod amend;
mod cache;
mod put;
mod read;
mod snapshot;

pub(crate) use amend::amend;
pub use cache::SetupCache;
pub use put::{permission_for, put};
pub use read::{get, history, list};
pub use snapshot::{snapshot, snapshot_at};

use chrono::{DateTime, Utc};
use domain::{
    ids::{ProjectId, UserId},
    setup::Item,
};
use store::{StoreError, setup::StoredItem};

/// An item as it is stored.
#[derive(Debug, Clone)]
pub struct Stored<T> {
    /// The item.
    pub item: T,
    /// Its entity tag.
    pub version: i64,
    /// Who wrote this version.
    pub changed_by: UserId,
    /// When.
    pub changed_at: DateTime<Utc>,
    /// Whether this call created it.
    pub created: bool,
}

/// Reads what was checked when it was stored.
fn restore<T: Item>(project: ProjectId, row: StoredItem) -> Result<Stored<T>, StoreError> {
    let item = serde_json::from_value(row.body).map_err(|error| {
        let id = format!("{project} {} {}", T::KIND.name(), row.code);
        StoreError::inconsistent("setup_items", id, error)
    })?;
    let StoredItem { version, changed_by, changed_at, .. } = row;
    Ok(Stored { item, version, changed_by, changed_at, created: false })
}
