//! Copies of a whole project, and who took some.

use chrono::{DateTime, Utc};
use domain::ids::UserId;
use serde::{Deserialize, Serialize};
use store::exports::Export;
use utoipa::{IntoParams, ToSchema};
use utoipa_actix_web::service_config::ServiceConfig;
use uuid::Uuid;

use crate::Problem;

mod create_export;
mod download_export;
mod get_export;
mod list_read_audit;

pub(super) fn configure(config: &mut ServiceConfig) {
    config
        .service(create_export::create_export)
        .service(get_export::get_export)
        .service(download_export::download_export)
        .service(list_read_audit::list_read_audit);
}

/// A copy of a project.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct ExportPath {
    /// Id or code of the project.
    #[serde(rename = "project")]
    #[param(rename = "project")]
    _project: String,
    /// Id of the export.
    id: String,
}

impl ExportPath {
    /// What is no id names no export.
    fn id(&self) -> Result<Uuid, Problem> {
        self.id.parse().map_err(|_| Problem::not_found(&format!("export {}", self.id)))
    }
}

/// How far a copy has come.
#[derive(Serialize, ToSchema)]
pub struct ExportView {
    /// Id.
    id: Uuid,
    /// `waiting`, `running`, then `done` or `failed`; after seven days `expired`.
    #[schema(example = "done")]
    status: String,
    /// Records copied so far.
    rows_done: i64,
    /// Size of the archive; 0 before it is done.
    bytes: i64,
    /// SHA-256 of the archive, hexadecimal.
    sha256: Option<String>,
    /// Why it failed.
    failure: Option<String>,
    /// When it was asked for.
    created_at: DateTime<Utc>,
    /// By whom.
    created_by: UserId,
    /// When it was over.
    finished_at: Option<DateTime<Utc>>,
}

impl From<Export> for ExportView {
    fn from(export: Export) -> Self {
        Self {
            id: export.id,
            status: export.status,
            rows_done: export.rows_done,
            bytes: export.bytes,
            sha256: export.sha256.map(hex::encode),
            failure: export.failure,
            created_at: export.created_at,
            created_by: export.created_by,
            finished_at: export.finished_at,
        }
    }
}
