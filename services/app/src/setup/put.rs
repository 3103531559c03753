//! A new item, or a new version of one.

use domain::{
    access::Permission,
    schema::FieldError,
    setup::{Item, Kind},
};
use serde_json::json;
use store::{Tx, setup::StoredItem};

use super::{Stored, restore};
use crate::{Actor, App, AppError, projects::ProjectEntry};

/// What it takes to change items of `kind`.
pub const fn permission_for(kind: Kind) -> Permission {
    match kind {
        Kind::LinePipe
        | Kind::Spread
        | Kind::Crew
        | Kind::Section
        | Kind::CoatingSystem
        | Kind::WorkingCalendar
        | Kind::ProductionPlan => Permission::ManageLine,
        Kind::Material | Kind::Lot | Kind::Location => Permission::ManageMaterials,
        Kind::InspectionPlan | Kind::Person | Kind::Detector => Permission::ManageQuality,
    }
}

/// Stores `item`: as a new one where there is none of its code, as the next version of the one
/// at `expected_version` where there is.
pub async fn put<T: Item>(
    app: &App,
    actor: &Actor,
    entry: &ProjectEntry,
    item: T,
    expected_version: Option<i64>,
) -> Result<Stored<T>, AppError> {
    entry.require(permission_for(T::KIND))?;
    let faults = item.faults();
    if !faults.is_empty() {
        return Err(AppError::Invalid(faults));
    }
    let body = serde_json::to_value(&item).map_err(|error| AppError::internal(&error))?;
    let mut tx = app.begin_in(entry.id).await?;
    // First, for it makes changes of one project's set-up take turns: what is read from here on
    // still holds at the commit.
    store::projects::raise_setup_version(&mut tx, entry.id)
        .await?
        .ok_or_else(|| AppError::not_found(format!("project {}", entry.code)))?;
    let before = store::setup::find(&mut tx, entry.id, T::KIND, item.code()).await?;
    let version = next_version(before.as_ref(), expected_version)?;
    check_references(&mut tx, entry, &item).await?;
    let before = before.map(|row| restore::<T>(entry.id, row)).transpose()?;
    let faults = item.changed_elsewhere(before.as_ref().map(|it| &it.item));
    if !faults.is_empty() {
        return Err(AppError::Invalid(faults));
    }

    let row = StoredItem {
        code: item.code().to_owned(),
        version,
        body,
        changed_by: actor.user,
        changed_at: app.clock.now(),
    };
    let created = before.is_none();
    if created {
        store::setup::insert(&mut tx, entry.id, T::KIND, &row).await?;
    } else if !store::setup::update(&mut tx, entry.id, T::KIND, &row).await? {
        let detail = format!("{} {} changed under a lock", T::KIND.name(), row.code);
        return Err(AppError::Internal(detail));
    }
    let told = json!({ "kind": T::KIND.name(), "code": row.code, "version": version });
    store::feed::note(&mut tx, entry.id, ("setup.changed", &row.code), &told, row.changed_at)
        .await?;
    // Nearly everything of the set-up bears on what the stock will do.
    crate::jobs::stock_check_soon(&mut tx, entry.id, row.changed_at).await?;
    app.commit(tx).await?;
    tracing::info!(
        project.id = %entry.id, setup.kind = T::KIND.name(), setup.version = version,
        "stored {} {}", T::KIND.name(), row.code
    );
    let StoredItem { changed_by, changed_at, .. } = row;
    Ok(Stored { item, version, changed_by, changed_at, created })
}

fn next_version(before: Option<&StoredItem>, expected: Option<i64>) -> Result<i64, AppError> {
    match (before, expected) {
        (None, None) => Ok(1),
        (None, Some(_)) => {
            let detail = "a version was expected, but there is no such item".to_owned();
            Err(AppError::PreconditionFailed { detail })
        }
        (Some(_), None) => {
            let detail = "there is an item of this code; send If-Match to change it".to_owned();
            Err(AppError::Conflict { code: "ITEM_EXISTS", detail })
        }
        (Some(item), Some(expected)) if item.version == expected => Ok(expected + 1),
        (Some(item), Some(expected)) => Err(AppError::stale(expected, item.version)),
    }
}

async fn check_references<T: Item>(
    tx: &mut Tx,
    entry: &ProjectEntry,
    item: &T,
) -> Result<(), AppError> {
    let missing = store::setup::missing(tx, entry.id, item.references()).await?;
    if missing.is_empty() {
        return Ok(());
    }
    let faults = missing.iter().map(|it| {
        let detail = format!("there is no {} `{}`", it.kind.name(), it.code);
        FieldError::new(&it.pointer, "UNKNOWN_REFERENCE", detail)
    });
    Err(AppError::Invalid(faults.collect()))
}

#[cfg(test)]
mod tests {
    use chrono::DateTime;
    use domain::ids::UserId;
    use serde_json::Value;
    use uuid::Uuid;

    use super::*;

    fn at(version: i64) -> StoredItem {
        StoredItem {
            code: "S1".to_owned(),
            version,
            body: Value::Null,
            changed_by: UserId(Uuid::nil()),
            changed_at: DateTime::UNIX_EPOCH,
        }
    }

    #[test]
    fn an_item_changes_only_from_the_version_that_was_read() {
        assert!(matches!(next_version(None, None), Ok(1)));
        assert!(matches!(next_version(Some(&at(3)), Some(3)), Ok(4)));
        let exists = next_version(Some(&at(3)), None);
        assert!(matches!(exists, Err(AppError::Conflict { code: "ITEM_EXISTS", .. })));
        for stale in [next_version(Some(&at(3)), Some(2)), next_version(None, Some(1))] {
            assert!(matches!(stale, Err(AppError::PreconditionFailed { .. })));
        }
    }
}
