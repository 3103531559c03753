use actix_web::{
    get,
    web::{Data, Json, Path},
};
use app::{App, imports::ShownImport};
use chrono::{DateTime, Utc};
use domain::{ids::ImportId, register::RowError};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use crate::{
    Problem,
    extract::{Permit, can},
};

/// An import in a project.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct ImportPath {
    /// Id or code of the project.
    #[serde(rename = "project")]
    #[param(rename = "project")]
    _project: String,
    /// Id of the import.
    id: String,
}

/// How far an import has come.
#[derive(Serialize, ToSchema)]
pub struct ImportView {
    /// Id.
    id: ImportId,
    /// What the file holds.
    #[schema(example = "joint_register")]
    kind: String,
    /// Nothing is to be stored.
    validate_only: bool,
    /// `waiting`, `checking`, then `valid` (only looked at), `stored` or `refused`.
    #[schema(example = "stored")]
    status: String,
    /// Size of the file.
    bytes_total: i64,
    /// Rows looked at so far.
    rows_checked: i64,
    /// Rows with faults so far.
    rows_wrong: i64,
    /// Rows stored: all of the file or none.
    rows_stored: i64,
    /// When it was uploaded.
    created_at: DateTime<Utc>,
    /// When it was over.
    finished_at: Option<DateTime<Utc>>,
    /// The first 200 faults in the order of the file.
    errors: Vec<RowError>,
}

impl From<ShownImport> for ImportView {
    fn from(ShownImport { import, errors }: ShownImport) -> Self {
        Self {
            id: import.id,
            kind: import.kind,
            validate_only: import.validate_only,
            status: import.status,
            bytes_total: import.bytes_total,
            rows_checked: import.rows_checked,
            rows_wrong: import.rows_wrong,
            rows_stored: import.rows_stored,
            created_at: import.created_at,
            finished_at: import.finished_at,
            errors,
        }
    }
}

/// Read how far an import has come.
#[utoipa::path(
    tag = "imports",
    params(ImportPath),
    responses((status = 200, body = ImportView)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/imports/{id}")]
pub async fn get_import(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
    path: Path<ImportPath>,
) -> Result<Json<ImportView>, Problem> {
    // What is no id names no import.
    let id = path.id.parse().map_err(|_| Problem::not_found(&format!("import {}", path.id)))?;
    let shown = app::imports::show(&app, &permit.project, id).await?;
    Ok(Json(shown.into()))
}
