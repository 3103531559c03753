//! One nonconformance with everything that was said on it.

use chrono::{DateTime, Utc};
use domain::ids::{NonconformanceId, UserId};
use serde::Serialize;
use store::{PgConnection, nonconformances::Entry};
use uuid::Uuid;

use super::{ConcessionView, NonconformanceView};
use crate::{App, AppError, projects::ProjectEntry};

/// A nonconformance with all that came of it.
#[derive(Debug, Clone, Serialize, utoipa::ToSchema)]
pub struct NonconformanceRecord {
    /// The nonconformance.
    #[serde(flatten)]
    pub nonconformance: NonconformanceView,
    /// What was said on it, in its order.
    pub entries: Vec<EntryView>,
    /// Concessions proposed and in force, newest first.
    pub concessions: Vec<ConcessionView>,
}

/// Something said on a nonconformance.
#[derive(Debug, Clone, Serialize, utoipa::ToSchema)]
pub struct EntryView {
    /// Id.
    pub id: Uuid,
    /// `containment`, `root_cause`, `action` or `verification`.
    pub kind: String,
    /// What.
    pub text: String,
    /// Who.
    pub written_by: UserId,
    /// Their name then.
    pub printed_name: String,
    /// When.
    pub written_at: DateTime<Utc>,
}

impl From<Entry> for EntryView {
    fn from(it: Entry) -> Self {
        Self {
            id: it.id,
            kind: it.kind,
            text: it.text,
            written_by: it.written_by,
            printed_name: it.printed_name,
            written_at: it.written_at,
        }
    }
}

/// Shows the nonconformance `id`.
pub async fn show(
    app: &App,
    project: &ProjectEntry,
    id: NonconformanceId,
) -> Result<NonconformanceRecord, AppError> {
    let mut conn = app.begin_in(project.id).await?;
    record(&mut conn, project, id).await
}

/// The record of the nonconformance `id`.
pub(super) async fn record(
    conn: &mut PgConnection,
    project: &ProjectEntry,
    id: NonconformanceId,
) -> Result<NonconformanceRecord, AppError> {
    let found = store::nonconformances::find(conn, project.id, id).await?;
    let found = found.ok_or_else(|| AppError::not_found(format!("nonconformance {id}")))?;
    let entries = store::nonconformances::entries(conn, project.id, id).await?;
    let concessions = store::concessions::of_nonconformance(conn, project.id, id).await?;
    let concessions = concessions.into_iter().map(|it| ConcessionView::new(&found, it));
    Ok(NonconformanceRecord {
        entries: entries.into_iter().map(EntryView::from).collect(),
        concessions: concessions.collect(),
        nonconformance: found.into(),
    })
}
