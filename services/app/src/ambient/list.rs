//! The weather log.

use chrono::{DateTime, Utc};
use domain::{access::Permission, ambient::Place};
use store::ambient::readings::Filter;
use uuid::Uuid;

use super::ReadingView;
use crate::{App, AppError, projects::ProjectEntry, setup};

/// Which entries.
#[derive(Debug, Clone, Default)]
pub struct ReadingFilter {
    /// Read at this spread.
    pub spread: Option<String>,
    /// Read at this location.
    pub location: Option<String>,
    /// Not read before.
    pub from: Option<DateTime<Utc>>,
    /// Read before.
    pub to: Option<DateTime<Utc>>,
    /// Also those that another entry takes the place of.
    pub with_superseded: bool,
    /// After that one in the order of the list.
    pub after: Option<(DateTime<Utc>, Uuid)>,
}

/// At most `limit` entries, the newest read first.
pub async fn list_readings(
    app: &App,
    project: &ProjectEntry,
    filter: ReadingFilter,
    limit: i64,
) -> Result<Vec<ReadingView>, AppError> {
    project.require(Permission::ReadProject)?;
    let mut tx = app.begin_in(project.id).await?;
    let named = filter.spread.map(Place::Spread).into_iter();
    let mut places: Vec<Place> = named.chain(filter.location.map(Place::Location)).collect();
    if places.is_empty() {
        let setup = setup::snapshot_at(app, &mut tx, project.id, project.setup_version).await?;
        places.extend(setup.spreads.keys().cloned().map(Place::Spread));
        places.extend(setup.locations.keys().cloned().map(Place::Location));
    }
    let filter = Filter {
        places,
        from: filter.from,
        to: filter.to,
        with_superseded: filter.with_superseded,
        after: filter.after,
    };
    let found = store::ambient::readings::list(&mut tx, project.id, &filter, limit).await?;
    Ok(found.into_iter().map(ReadingView::from).collect())
}
