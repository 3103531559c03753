//! Nonconformances: what must be decided before a joint goes on.

mod concession;
mod dispose;
mod show;

use chrono::{DateTime, Utc};
use domain::ids::NonconformanceId;
use serde::Serialize;
use store::nonconformances::ShownNonconformance;
use uuid::Uuid;

pub use concession::{
    ConcessionView, Proposal, ProposalShown, ShownConcession, SignatureView, approve,
    challenge_concession, propose,
};
pub use dispose::{Decision, Disposition, dispose};
pub use show::{NonconformanceRecord, show};

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
    /// What was decided.
    pub closing_note: Option<String>,
    /// The fact that proves it.
    pub closing_event: Option<Uuid>,
    /// `repair`, `rework`, `reject` or `use_as_is`; none while it is open, and where it lapsed.
    pub disposition: Option<String>,
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
    let mut conn = app.begin_in(project.id).await?;
    let found = store::nonconformances::list(&mut conn, project.id, status, before, limit).await?;
    Ok(found.into_iter().map(NonconformanceView::from).collect())
}

impl From<ShownNonconformance> for NonconformanceView {
    fn from(it: ShownNonconformance) -> Self {
        Self {
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
            closing_note: it.closing_note,
            closing_event: it.closing_event_id,
            disposition: it.disposition,
            version: it.version,
        }
    }
}
