//! Looks at the stock and brings the warnings up to date.

use domain::{
    ids::ProjectId,
    outlook::{Condition, Outlook, ShelfLife, conditions, outlook, shelf_life},
};
use store::{
    PgConnection,
    warnings::{Raised, clear_others, raise},
};

use super::situation;
use crate::{App, AppError, new_id, setup};

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
    let now = app.clock.now();
    let mut tx = app.begin_in(project).await?;
    // One check at a time: of two side by side, the one that read first must not write last.
    store::outlook::take_turn(&mut tx, project).await?;
    let setup = setup::snapshot(app, &mut tx, project).await?;
    let situation = situation(&mut tx, project, &setup, now, (AHEAD, None)).await?;
    let mut seen = shelf_life(&situation);
    let looked = tokio::task::spawn_blocking(move || outlook(&situation, false)).await;
    let ahead = looked
        .map_err(|error| AppError::internal(&error))?
        .map_err(|error| AppError::internal(&error))?;
    seen.extend(conditions(&ahead));
    let (materials, warned) = (count(ahead.materials.len()), count(seen.len()));
    let mut checked = Checked { materials, warned, cleared: 0 };
    for condition in &seen {
        warn(&mut tx, project, condition, now).await?;
    }
    for kind in Outlook::KINDS.iter().chain(&ShelfLife::KINDS) {
        let still: Vec<String> =
            seen.iter().filter(|it| it.kind == *kind).map(|it| it.subject.clone()).collect();
        let cleared = clear_others(&mut tx, project, kind, &still, now).await?;
        checked.cleared += i64::try_from(cleared).unwrap_or(i64::MAX);
    }
    app.commit(tx).await?;
    Ok(checked)
}

async fn warn(
    conn: &mut PgConnection,
    project: ProjectId,
    condition: &Condition,
    now: chrono::DateTime<chrono::Utc>,
) -> Result<(), AppError> {
    let warning = Raised {
        id: new_id(now),
        kind: condition.kind,
        subject: &condition.subject,
        severity: condition.urgency.name(),
        detail: &condition.detail,
        values: condition.values.clone(),
    };
    raise(conn, project, &warning, now).await?;
    Ok(())
}

fn count(number: usize) -> i64 {
    i64::try_from(number).unwrap_or(i64::MAX)
}
