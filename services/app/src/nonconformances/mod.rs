//! Nonconformances: what must be decided before a joint goes on.

use chrono::{DateTime, Utc};
use domain::ids::NonconformanceId;
use serde::Serialize;
use uuid::Uuid;

use crate::{App, AppError, projects::ProjectEntry};

/// A nonconformance as it is shown.
#[derive(Debug, Clone, Serialize, utoipa::ToSchema)]
pub struct NonconformanceView {
    /// Id.
    pub id: NonconformanceId,
    /// Number in the project.
    pub number: i64,
    /// Number of the joint.
    pub joint: String,
    /// Code of the finding.
    pub code: String,
    /// The fact that it is about.
    pub event: Option<Uuid>,
    /// `minor`, `major` or `critical`.
    pub severity: String,
    /// What it is.
    pub nature: String,
    /// `open`, `closed` or `lapsed`.
    pub status: String,
    /// When it was opened.
    pub opened_at: DateTime<Utc>,
    /// When it ended.
    pub closed_at: Option<DateTime<Utc>>,
    /// Counts its changes.
    pub version: i64,
}

/// Nonconformances by number, newest first, those before `before`.
pub async fn list(
    app: &App,
    project: &ProjectEntry,
    status: Option<&str>,
    before: Option<i64>,
    limit: i64,
) -> Result<Vec<NonconformanceView>, AppError> {
    let mut conn = app.connection().await?;
    let found =
        store::nonconformances::list(&mut conn, project.id, status, before, limit).await?;
    let views = found.into_iter().map(|it| NonconformanceView {
        id: it.id,
        number: it.number,
        joint: it.joint_number,
        code: it.code,
        event: it.event_id,
        severity: it.severity,
        nature: it.nature,
        status: it.status,
        opened_at: it.opened_at,
        closed_at: it.closed_at,
        version: it.version,
    });
    Ok(views.collect())
}
