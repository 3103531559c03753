//! Shows checkpoints to the members of the project.

use super::{file, views::CheckpointView};
use crate::{App, AppError, projects::ProjectEntry};

/// Checkpoints before number `before`, the newest first.
pub async fn list(
    app: &App,
    project: &ProjectEntry,
    before: Option<i64>,
    limit: u32,
) -> Result<Vec<CheckpointView>, AppError> {
    let mut tx = app.begin_in(project.id).await?;
    let found = store::checkpoints::list(&mut tx, project.id, before, limit.into()).await?;
    Ok(found.into_iter().map(CheckpointView::try_from).collect::<Result<_, _>>()?)
}

/// One checkpoint.
pub async fn show(
    app: &App,
    project: &ProjectEntry,
    number: i64,
) -> Result<CheckpointView, AppError> {
    let mut tx = app.begin_in(project.id).await?;
    let found = store::checkpoints::find(&mut tx, project.id, number).await?;
    Ok(found.ok_or_else(|| unknown(number))?.try_into()?)
}

/// One checkpoint as the file that is published of it, with all its leaves.
pub async fn text(app: &App, project: &ProjectEntry, number: i64) -> Result<String, AppError> {
    let mut tx = app.begin_in(project.id).await?;
    let found = store::checkpoints::find(&mut tx, project.id, number).await?;
    let found = found.ok_or_else(|| unknown(number))?;
    let leaves = store::checkpoints::leaves_at(&mut tx, project.id, number).await?;
    Ok(file::text(&found, &leaves))
}

fn unknown(number: i64) -> AppError {
    AppError::not_found(format!("checkpoint {number}"))
}
