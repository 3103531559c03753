//! Lists joints in the order of the line.

use store::joints::{JointFilter, JointLine};

use crate::{App, AppError, projects::ProjectEntry};

/// A page of joints, and whether there are more.
pub async fn list(
    app: &App,
    project: &ProjectEntry,
    mut filter: JointFilter,
) -> Result<(Vec<JointLine>, bool), AppError> {
    let asked = filter.limit;
    filter.limit += 1;
    let mut conn = app.begin_in(project.id).await?;
    let mut lines = store::joints::list(&mut conn, project.id, &filter).await?;
    let wanted = usize::try_from(asked).unwrap_or(0);
    let more = lines.len() > wanted;
    lines.truncate(wanted);
    Ok((lines, more))
}
