//! Lists what somebody should look at.

use store::warnings::ShownWarning;

use crate::{App, AppError, projects::ProjectEntry};

/// The open warnings of a project, newest first, at most `limit`.
pub async fn list(
    app: &App,
    project: &ProjectEntry,
    limit: u32,
) -> Result<Vec<ShownWarning>, AppError> {
    let mut conn = app.begin_in(project.id).await?;
    Ok(store::warnings::list(&mut conn, project.id, i64::from(limit)).await?)
}
