//! Nonconformances: what must be decided before a joint goes on.

mod concession;
mod dispose;
mod entries;
mod follow;
mod raise;
mod show;

use chrono::{DateTime, Utc};
use domain::{ids::NonconformanceId, joints::nonconformance::Scope};
use serde::Serialize;
use store::nonconformances::ShownNonconformance;
use units::Kp;
use uuid::Uuid;

pub use concession::{
    ConcessionView, Proposal, ProposalShown, ShownConcession, SignatureView, approve,
    challenge_concession, propose,
};
pub use dispose::{Decision, Disposition, dispose};
pub use entries::{EntryKind, write_on};
pub use follow::follow;
pub use raise::{Raised, raise};
pub use show::{EntryView, NonconformanceRecord, show};

use crate::{App, AppError, projects::ProjectEntry};

/// A nonconformance as it is shown.
#[derive(Debug, Clone, Serialize, utoipa::ToSchema)]
pub struct NonconformanceView {
    /// Id.
    pub id: NonconformanceId,
    /// Number in the project.
    pub number: i64,
    /// Number of the joint; none where it is of a lot, a crew or a stretch.
    #[schema(required)]
    pub joint: Option<String>,
    /// What it is about.
    pub subject: SubjectView,
    /// The same for the program.
    #[serde(skip)]
    pub scope: Scope,
    /// Code of the finding.
    pub code: String,
    /// The fact that it is about.
    pub event: Option<Uuid>,
    /// `minor`, `major` or `critical`.
    pub severity: String,
    /// What it is.
    pub nature: String,
    /// The facts that whoever raised it pointed at.
    pub evidence: Vec<Uuid>,
    /// Who raised it; none where a finding opened it by itself.
    pub opened_by: Option<Uuid>,
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

/// What a nonconformance is about: one of these.
#[derive(Debug, Clone, Default, Serialize, utoipa::ToSchema)]
pub struct SubjectView {
    /// Number of the joint.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub joint: Option<String>,
    /// Code of the lot: the joints that carry it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lot: Option<String>,
    /// Code of the crew: the joints that carry work of it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub crew: Option<String>,
    /// From when on, for a crew.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub since: Option<DateTime<Utc>>,
    /// The stretch: the joints in it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stretch: Option<StretchView>,
}

/// A stretch of the line.
#[derive(Debug, Clone, Serialize, utoipa::ToSchema)]
pub struct StretchView {
    /// Only the joints of this section.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub section: Option<String>,
    /// From, km, included.
    pub kp_from_km: f64,
    /// To, km, included.
    pub kp_to_km: f64,
}

impl SubjectView {
    fn new(joint: Option<&String>, scope: &Scope) -> Self {
        let none = Self::default();
        let km = |mm| Kp::from_millimetres(mm).map_or(0.0, Kp::as_kilometres);
        match scope.clone() {
            Scope::Joint => Self { joint: joint.cloned(), ..none },
            Scope::Lot(lot) => Self { lot: Some(lot), ..none },
            Scope::Crew { code, since } => Self { crew: Some(code), since: Some(since), ..none },
            Scope::Stretch { section, from_mm, to_mm } => {
                let (kp_from_km, kp_to_km) = (km(from_mm), km(to_mm));
                let stretch = Some(StretchView { section, kp_from_km, kp_to_km });
                Self { stretch, ..none }
            }
        }
    }
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
        let scope = it.scope();
        Self {
            id: it.id,
            number: it.number,
            subject: SubjectView::new(it.joint_number.as_ref(), &scope),
            scope,
            joint: it.joint_number,
            code: it.code,
            event: it.event_id,
            severity: it.severity,
            nature: it.nature,
            evidence: it.evidence,
            opened_by: it.opened_by,
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
