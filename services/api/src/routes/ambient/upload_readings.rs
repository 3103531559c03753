use actix_web::{HttpResponse, post, web::Data};
use app::{App, ambient::TableRecorded};

use crate::{
    Problem,
    extract::{Either, Permit, ProjectPath, Table, can},
};

/// Record a table of readings: CSV in UTF-8 with a header line, at most 2 MiB and 10,000 rows.
///
/// Columns, in any order, between `,` or `;`: `read_at` (with its offset) and `air_c`; `spread` or
/// `location`; and where known `station`, `relative_humidity_percent` (needed of a spread),
/// `steel_c`, `wind_m_s`, `rain_mm` and `id`. Numbers have a decimal point.
///
/// All of its rows are recorded, or none: 422 with `row_errors`, every fault by row and column. A
/// row without `id` gets one from its place, station and time, so that the same file twice has one
/// effect.
#[utoipa::path(
    tag = "ambient",
    params(ProjectPath),
    request_body(content = String, content_type = "text/csv"),
    responses(
        (status = 201, body = TableRecorded),
        (status = 200, body = TableRecorded, description = "Every row was stored before"),
    ),
    security(("bearer" = [])),
)]
#[post("/v1/projects/{project}/ambient/readings.csv")]
pub async fn upload_readings(
    app: Data<App>,
    permit: Permit<Either<can::RecordFacts, can::MoveStock>>,
    table: Table,
) -> Result<HttpResponse, Problem> {
    let Permit { actor, project, .. } = permit;
    let done = app::ambient::record_table(&app, &actor, &project, &table.0).await?;
    let mut answer = if done.recorded == 0 { HttpResponse::Ok() } else { HttpResponse::Created() };
    Ok(answer.json(done))
}
