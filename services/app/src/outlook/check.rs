//! Looks at the stock and brings the warnings up to date.

use domain::{
    ids::ProjectId,
    outlook::{Outlook, ShelfLife, conditions, outlook, shelf_life},
};

use super::situation;
use crate::{App, AppError, conditions::keep_warnings, setup};

/// So far ahead a check looks, days.
const AHEAD: u32 = 90;

/// What was found.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Checked {
    /// Materials looked at.
    pub materials: i64,
    /// Conditions that somebody must see.
    pub warned: i64,
    /// Warnings that no longer hold.
    pub cleared: i64,
}

/// Looks at the stock of `project` as it will be, and at what the calendar does to it. Done twice,
/// it says the same.
pub async fn stock_check(app: &App, project: ProjectId) -> Result<Checked, AppError> {
    let mut tx = app.begin_in(project).await?;
    // One check at a time: of two side by side, the one that read first must not write last.
    store::warnings::take_turn(&mut tx, project, "stock_check").await?;
    let now = app.clock.now();
    let setup = setup::snapshot(app, &mut tx, project).await?;
    let situation = situation(&mut tx, project, &setup, now, (AHEAD, None)).await?;
    let mut seen = shelf_life(&situation);
    let looked = tokio::task::spawn_blocking(move || outlook(&situation, false)).await;
    let ahead = looked
        .map_err(|error| AppError::internal(&error))?
        .map_err(|error| AppError::internal(&error))?;
    seen.extend(conditions(&ahead));
    let (materials, warned) = (count(ahead.materials.len()), count(seen.len()));
    let kinds = [&Outlook::KINDS[..], &ShelfLife::KINDS].concat();
    let cleared = keep_warnings(&mut tx, project, &seen, &kinds, now).await?;
    app.commit(tx).await?;
    Ok(Checked { materials, warned, cleared })
}

fn count(number: usize) -> i64 {
    i64::try_from(number).unwrap_or(i64::MAX)
}
