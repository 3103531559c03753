use actix_web::{
    get,
    web::{Data, Json, Path},
};
use app::App;
use chrono::{DateTime, Utc};
use serde::Serialize;
use serde_json::Value;
use store::warnings::HistoryEntry;
use utoipa::ToSchema;
use uuid::Uuid;

use super::views::{WarningPath, WarningView};
use crate::{
    Problem,
    extract::{Permit, can},
};

/// A warning with what happened to it.
#[derive(Debug, Serialize, ToSchema)]
pub struct WarningWithHistory {
    /// The warning.
    warning: WarningView,
    /// Oldest first.
    history: Vec<WarningHistoryView>,
}

/// What happened to a warning once.
#[derive(Debug, Serialize, ToSchema)]
pub struct WarningHistoryView {
    /// `raised` (also when its severity rose), `updated`, `acknowledged` or `cleared`.
    #[schema(example = "raised")]
    action: String,
    /// When.
    at: DateTime<Utc>,
    /// The severity from then on.
    severity: String,
    /// What it said from then on.
    detail: String,
    /// The numbers behind `detail`.
    #[schema(value_type = Object)]
    values: Value,
    /// Id of the user, where it was one.
    #[serde(skip_serializing_if = "Option::is_none")]
    by: Option<Uuid>,
    /// Their printed name.
    #[serde(skip_serializing_if = "Option::is_none")]
    name: Option<String>,
    /// What they said.
    #[serde(skip_serializing_if = "Option::is_none")]
    note: Option<String>,
}

impl From<HistoryEntry> for WarningHistoryView {
    fn from(entry: HistoryEntry) -> Self {
        Self {
            action: entry.action,
            at: entry.at,
            severity: entry.severity,
            detail: entry.detail,
            values: entry.values,
            by: entry.by_user,
            name: entry.by_name,
            note: entry.note,
        }
    }
}

/// A warning and its history.
#[utoipa::path(
    tag = "warnings",
    params(WarningPath),
    responses((status = 200, body = WarningWithHistory)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/warnings/{warning}")]
pub async fn get_warning(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
    path: Path<WarningPath>,
) -> Result<Json<WarningWithHistory>, Problem> {
    let (warning, history) = app::warnings::show(&app, &permit.project, path.warning).await?;
    let history = history.into_iter().map(WarningHistoryView::from).collect();
    Ok(Json(WarningWithHistory { warning: warning.into(), history }))
}
