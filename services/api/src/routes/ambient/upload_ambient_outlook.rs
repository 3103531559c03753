use actix_web::{
    Either as Answer, post,
    web::{Data, Json},
};
use app::{
    App,
    ambient::{IssueOfTable, OutlookView, outlook_from_csv},
};
use chrono::{DateTime, Utc};
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use super::record_ambient_outlook::record;
use crate::{
    Problem,
    extract::{Either, Permit, ProjectPath, Query, Table, can},
    reply::Created,
};

/// What stands beside the table.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct OutlookTableParams {
    /// Code of the spread.
    spread: String,
    /// When it was issued.
    issued_at: DateTime<Utc>,
    /// Who issued it.
    source: Option<String>,
    /// Made by the client; from the others if absent, so that the same table twice has one effect.
    id: Option<Uuid>,
}

/// Record an outlook of the weather as a table: CSV in UTF-8 with a header line, at most 2 MiB.
///
/// Columns, in any order, between `,` or `;`: `at` (with its offset), `air_c`,
/// `relative_humidity_percent`, and where known `wind_m_s` and `rain_mm`. Numbers have a decimal
/// point. Every fault is named by row and column in `row_errors`.
#[utoipa::path(
    tag = "ambient",
    params(ProjectPath, OutlookTableParams),
    request_body(content = String, content_type = "text/csv"),
    responses(
        (status = 201, body = OutlookView, description = "Stored"),
        (status = 200, body = OutlookView, description = "The same outlook was stored before"),
    ),
    security(("bearer" = [])),
)]
#[post("/v1/projects/{project}/ambient/outlooks.csv")]
pub async fn upload_ambient_outlook(
    app: Data<App>,
    permit: Permit<Either<can::RecordFacts, can::ManageLine>>,
    params: Query<OutlookTableParams>,
    table: Table,
) -> Result<Answer<Created<OutlookView>, Json<OutlookView>>, Problem> {
    let OutlookTableParams { spread, issued_at, source, id } = params.0;
    let issue = IssueOfTable { id, spread, issued_at, source };
    let outlook = outlook_from_csv(&table.0, issue)?;
    record(&app, &permit, outlook).await
}
