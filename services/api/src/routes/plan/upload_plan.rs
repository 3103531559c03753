use actix_web::{
    HttpMessage, HttpRequest,
    http::StatusCode,
    put,
    web::{BytesMut, Data, Payload},
};
use app::App;
use domain::{register::RowError, schema::FieldError, setup::ProductionPlan};

use crate::{
    Problem,
    extract::{IfMatch, LARGE, Permit, ProjectPath, can, next_chunk},
    reply::Versioned,
};

/// Replace the production plan by a CSV file: UTF-8, a header line, at most 1 MiB.
///
/// Columns, in any order: `spread`, `section`, `from`, `to` (days such as `2026-07-01`) and
/// `joints_per_day`. The whole file is taken or, with every fault named, nothing.
#[utoipa::path(
    tag = "plan",
    params(
        ProjectPath,
        ("If-Match" = Option<String>, Header, description = "ETag, such as `\"v17\"`"),
    ),
    request_body(content = String, content_type = "text/csv"),
    responses(
        (status = 200, body = Versioned<ProductionPlan>),
        (status = 201, body = Versioned<ProductionPlan>),
    ),
    security(("bearer" = [])),
)]
#[put("/v1/projects/{project}/plan.csv")]
pub async fn upload_plan(
    app: Data<App>,
    permit: Permit<can::ManageLine>,
    seen: IfMatch,
    request: HttpRequest,
    mut file: Payload,
) -> Result<Versioned<ProductionPlan>, Problem> {
    let Permit { actor, project, .. } = &permit;
    if !request.content_type().eq_ignore_ascii_case("text/csv") {
        let detail = "send a plan with `Content-Type: text/csv`";
        let status = StatusCode::UNSUPPORTED_MEDIA_TYPE;
        return Err(Problem::new(status, "UNSUPPORTED_MEDIA_TYPE", detail));
    }
    let mut bytes = BytesMut::new();
    while let Some(chunk) = next_chunk(&mut file).await? {
        if bytes.len() + chunk.len() > LARGE {
            let detail = format!("at most {LARGE} bytes are read here");
            return Err(Problem::new(StatusCode::PAYLOAD_TOO_LARGE, "TOO_LARGE", detail));
        }
        bytes.extend_from_slice(&chunk);
    }
    let plan = app::plan::from_csv(&bytes)
        .map_err(|faults| Problem::invalid(faults.iter().map(at_row).collect()))?;
    let stored = app::plan::replace(&app, actor, project, plan, seen.0)
        .await
        .map_err(|error| seen.explain(error))?;
    let view = Versioned::new(stored.item, stored.version);
    let plan = request.path().trim_end_matches(".csv");
    Ok(if stored.created { view.created_at(plan) } else { view })
}

fn at_row(fault: &RowError) -> FieldError {
    let RowError { row, column, code, detail } = fault;
    FieldError::new(&format!("/rows/{row}/{column}"), code, format!("row {row}: {detail}"))
}
