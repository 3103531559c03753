use actix_web::{
    get,
    web::{Data, Json},
};
use app::App;
use chrono::{DateTime, Utc};
use serde::Serialize;
use store::read_audit::Reading;
use utoipa::ToSchema;
use uuid::Uuid;

use crate::{
    Problem,
    extract::{Paging, Permit, ProjectPath, Query, can},
    reply::Page,
};

/// Somebody took something out of the project.
#[derive(Serialize, ToSchema)]
pub struct ReadAuditView {
    /// Id.
    id: Uuid,
    /// What was taken: `export`, `certificate`.
    #[schema(example = "export")]
    what: String,
    /// Which one, such as the id of the export; `command line` where it was done on the server.
    subject: String,
    /// How many records.
    rows: i64,
    /// Who; null where it was done on the command line of the server.
    user: Option<Uuid>,
    /// Printed name.
    name: Option<String>,
    /// From which address.
    address: Option<String>,
    /// In which request.
    request_id: Option<String>,
    /// When.
    at: DateTime<Utc>,
}

impl From<Reading> for ReadAuditView {
    fn from(it: Reading) -> Self {
        Self {
            id: it.id,
            what: it.what,
            subject: it.subject,
            rows: it.rows,
            user: it.user,
            name: it.name,
            address: it.address,
            request_id: it.request_id,
            at: it.at,
        }
    }
}

/// List who took copies out of the project, the newest first.
#[utoipa::path(
    tag = "exports",
    params(ProjectPath, Paging),
    responses((status = 200, body = Page<ReadAuditView>)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/read-audit")]
pub async fn list_read_audit(
    app: Data<App>,
    permit: Permit<can::ReadAudit>,
    paging: Query<Paging>,
) -> Result<Json<Page<ReadAuditView>>, Problem> {
    let limit = paging.0.limit();
    let before = paging.0.position()?;
    let found = app::reads::list(&app, &permit.project, before, limit + 1).await?;
    Ok(Json(Page::cut(found, limit, |it| it.id).map(ReadAuditView::from)))
}
