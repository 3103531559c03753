//! Looks at the weather where work goes on and where stock lies, and warns.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};
use domain::{
    ambient::{SpreadNow, StoreNow, WEATHER_KINDS, WorkToday, of_day, of_spread, of_store},
    condition::Condition,
    ids::ProjectId,
    setup::ProjectSetup,
};
use store::PgConnection;

use super::workable;
use crate::{App, AppError, conditions::keep_warnings, setup};

/// What was found.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Looked {
    /// Conditions that somebody must see.
    pub warned: i64,
    /// Warnings that no longer hold.
    pub cleared: i64,
}

/// Work so long ago is no work of today, whatever the hour (common practice, no source).
const TODAY: TimeDelta = TimeDelta::hours(16);

/// Looks at the weather of `project` as it is now. Done twice, it says the same.
pub async fn ambient_check(app: &App, project: ProjectId) -> Result<Looked, AppError> {
    let mut tx = app.begin_in(project).await?;
    // One look at a time: of two side by side, the one that read first must not write last.
    store::warnings::take_turn(&mut tx, project, "ambient_check").await?;
    let now = app.clock.now();
    let setup = setup::snapshot(app, &mut tx, project).await?;
    let mut seen = seen(&mut tx, project, &setup, now).await?;
    let tomorrow = setup.day(now) + TimeDelta::days(1);
    let days = workable(&mut tx, project, &setup, now, 2).await?;
    seen.extend(days.iter().filter_map(|it| of_day(it, &setup, tomorrow)));
    let cleared = keep_warnings(&mut tx, project, &seen, &WEATHER_KINDS, now).await?;
    app.commit(tx).await?;
    Ok(Looked { warned: i64::try_from(seen.len()).unwrap_or(i64::MAX), cleared })
}

async fn seen(
    conn: &mut PgConnection,
    project: ProjectId,
    setup: &ProjectSetup,
    now: DateTime<Utc>,
) -> Result<Vec<Condition>, AppError> {
    let spreads: Vec<String> = setup.spreads.keys().cloned().collect();
    let locations: Vec<String> = setup.locations.keys().cloned().collect();
    let mut newest = store::ambient::now::newest(conn, project, &spreads, &locations).await?;
    let work = store::ambient::now::work_since(conn, project, now - TODAY, now).await?;
    let mut seen = Vec::new();
    for spread in spreads {
        let of_spread_today = |it: &&WorkToday| {
            let section = setup.sections.get(&it.section);
            section.is_some_and(|section| section.spread.as_ref() == Some(&spread))
        };
        let work = work.iter().filter(of_spread_today).cloned().collect();
        let newest = newest.spreads.remove(&spread);
        seen.extend(of_spread(&SpreadNow { spread, newest, work }, setup, now));
    }
    let mut lots: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for balance in store::stock_balances::list(conn, project, None, None).await? {
        lots.entry(balance.location).or_default().push(balance.lot);
    }
    for (location, lots) in lots {
        let newest = newest.locations.remove(&location);
        seen.extend(of_store(&StoreNow { location, newest, lots }, setup, now));
    }
    Ok(seen)
}
