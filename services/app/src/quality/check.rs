//! Looks whether the rate of a crew has left its limits, and warns.

use domain::{
    ids::ProjectId,
    quality::{By, REPAIR_RATE_KIND, Span, signals_of_crews},
};

use super::rates::{USUAL_DAYS, read};
use crate::{App, AppError, conditions::keep_warnings, setup};

/// What was found.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Looked {
    /// Crews looked at.
    pub crews: i64,
    /// Crews whose rate has left its limits.
    pub warned: i64,
    /// Warnings that no longer hold.
    pub cleared: i64,
}

/// Looks at the repair rates of the crews of `project` over the last six weeks. Done twice, it says
/// the same.
pub async fn repair_rate(app: &App, project: ProjectId) -> Result<Looked, AppError> {
    let now = app.clock.now();
    let mut tx = app.begin_in(project).await?;
    // One look at a time: of two side by side, the one that read first must not write last.
    store::warnings::take_turn(&mut tx, project, "repair_rate").await?;
    let setup = setup::snapshot(app, &mut tx, project).await?;
    let to = setup.day(now);
    let from = to.checked_sub_days(USUAL_DAYS).unwrap_or(to);
    let rates = read(&mut tx, project, &setup, By::Crew, Span { from, to }).await?;
    let seen = signals_of_crews(&rates, to);
    let cleared = keep_warnings(&mut tx, project, &seen, &[REPAIR_RATE_KIND], now).await?;
    app.commit(tx).await?;
    Ok(Looked { crews: count(rates.len()), warned: count(seen.len()), cleared })
}

fn count(number: usize) -> i64 {
    i64::try_from(number).unwrap_or(i64::MAX)
}
