use actix_web::{
    get,
    web::{Data, Json},
};
use app::App;
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use store::warnings::ShownWarning;
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

use crate::{
    Problem,
    extract::{Permit, ProjectPath, Query, can, clamp},
    reply::Page,
};

/// How many warnings.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct WarningParams {
    /// Most items in the answer; 50 if absent. Less than 1 counts as 1, more than 500 as 500.
    limit: Option<u32>,
}

/// Something that somebody should look at.
#[derive(Serialize, ToSchema)]
pub struct WarningView {
    /// Id.
    id: Uuid,
    /// Kind.
    #[schema(example = "release_grows_stale")]
    kind: String,
    /// What it is about, such as the number of a joint.
    subject: String,
    /// `notice` or `urgent`.
    #[schema(example = "urgent")]
    severity: String,
    /// What is the matter.
    detail: String,
    /// Since when.
    raised_at: DateTime<Utc>,
    /// When it was looked at last.
    updated_at: DateTime<Utc>,
}

impl From<ShownWarning> for WarningView {
    fn from(warning: ShownWarning) -> Self {
        Self {
            id: warning.id,
            kind: warning.kind,
            subject: warning.subject,
            severity: warning.severity,
            detail: warning.detail,
            raised_at: warning.raised_at,
            updated_at: warning.updated_at,
        }
    }
}

/// List the open warnings of a project, newest first.
#[utoipa::path(
    tag = "warnings",
    params(ProjectPath, WarningParams),
    responses((status = 200, body = Page<WarningView>)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/warnings")]
pub async fn list_warnings(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
    params: Query<WarningParams>,
) -> Result<Json<Page<WarningView>>, Problem> {
    let warnings = app::warnings::list(&app, &permit.project, clamp(params.0.limit)).await?;
    Ok(Json(Page::whole(warnings).map(WarningView::from)))
}
