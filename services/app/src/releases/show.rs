//! Shows a release with its certificate.

use chrono::{DateTime, Utc};
use domain::ids::ReleaseId;
use serde::Serialize;
use serde_json::Value;
use uuid::Uuid;

use crate::{App, AppError, projects::ProjectEntry};

/// A release as it is shown.
#[derive(Debug, Clone, Serialize, utoipa::ToSchema)]
pub struct ReleaseView {
    /// Id.
    pub id: ReleaseId,
    /// Number of the joint.
    pub joint: String,
    /// `in_force` or `contradicted`.
    pub status: &'static str,
    /// When it was given.
    pub released_at: DateTime<Utc>,
    /// Printed name of who signed.
    pub printed_name: String,
    /// With what meaning.
    pub meaning: String,
    /// Since when later facts contradict it.
    pub contradicted_at: Option<DateTime<Utc>>,
    /// The fact that does.
    pub contradicted_by: Option<Uuid>,
    /// In what.
    pub contradiction: Option<Value>,
    /// Everything the certificate prints.
    pub certificate: Value,
}

/// Shows the release `id`.
pub async fn show(
    app: &App,
    project: &ProjectEntry,
    id: ReleaseId,
) -> Result<ReleaseView, AppError> {
    let mut conn = app.begin_in(project.id).await?;
    let found = store::releases::find(&mut conn, project.id, id).await?;
    let found = found.ok_or_else(|| AppError::not_found(format!("release {id}")))?;
    Ok(ReleaseView {
        id: found.id,
        joint: found.joint_number,
        status: if found.contradicted_at.is_some() { "contradicted" } else { "in_force" },
        released_at: found.released_at,
        printed_name: found.printed_name,
        meaning: found.meaning,
        contradicted_at: found.contradicted_at,
        contradicted_by: found.contradicted_by,
        contradiction: found.contradiction,
        certificate: found.certificate,
    })
}
