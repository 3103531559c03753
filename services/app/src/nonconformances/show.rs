//! One nonconformance with everything that was said on it.

use domain::ids::NonconformanceId;
use serde::Serialize;

use super::{ConcessionView, NonconformanceView};
use crate::{App, AppError, projects::ProjectEntry};

/// A nonconformance with all that came of it.
#[derive(Debug, Clone, Serialize, utoipa::ToSchema)]
pub struct NonconformanceRecord {
    /// The nonconformance.
    #[serde(flatten)]
    pub nonconformance: NonconformanceView,
    /// Concessions proposed and in force, newest first.
    pub concessions: Vec<ConcessionView>,
}

/// Shows the nonconformance `id`.
pub async fn show(
    app: &App,
    project: &ProjectEntry,
    id: NonconformanceId,
) -> Result<NonconformanceRecord, AppError> {
    let mut conn = app.begin_in(project.id).await?;
    let found = store::nonconformances::find(&mut conn, project.id, id).await?;
    let found = found.ok_or_else(|| AppError::not_found(format!("nonconformance {id}")))?;
    let concessions =
        store::concessions::of_nonconformance(&mut conn, project.id, id).await?.into_iter();
    Ok(NonconformanceRecord {
        concessions: concessions.map(|it| ConcessionView::new(&found, it)).collect(),
        nonconformance: found.into(),
    })
}
