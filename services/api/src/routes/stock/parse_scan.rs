use actix_web::{
    post,
    web::{Data, Json},
};
use app::{App, scans::ScanReading};
use domain::schema::Validate;
use serde::Deserialize;
use utoipa::ToSchema;

use crate::{
    Problem,
    extract::{Body, Permit, ProjectPath, can},
};

/// A scanned label.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ScanRequest {
    /// What the scanner typed: element strings with the separator FNC1 as the character U+001D,
    /// the printed form with brackets, or a GS1 Digital Link.
    #[schema(
        min_length = 1,
        max_length = 1000,
        example = "(01)09506000134352(17)271130(10)L-4711"
    )]
    scan: String,
}

impl Validate for ScanRequest {}

/// Read a scanned label: its fields, the material and the lot it names, a movement to receive it.
///
/// Creates nothing. A label with faults is refused with every one of them and the character at
/// which it stands.
#[utoipa::path(
    tag = "stock",
    params(ProjectPath),
    request_body = ScanRequest,
    responses((status = 200, body = ScanReading)),
    security(("bearer" = [])),
)]
#[post("/v1/projects/{project}/stock/scans:parse")]
pub async fn parse_scan(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
    body: Body<ScanRequest>,
) -> Result<Json<ScanReading>, Problem> {
    Ok(Json(app::scans::parse(&app, &permit.project, &body.0.scan).await?))
}
