use actix_web::{
    Either, HttpMessage, HttpRequest,
    http::StatusCode,
    post,
    web::{BytesMut, Data, Json, Payload},
};
use app::{App, stock::Recorded};
use serde::Deserialize;
use utoipa::IntoParams;

use crate::{
    Problem,
    extract::{LARGE, Permit, ProjectPath, Query, can, next_chunk},
    reply::{Created, segment},
};

/// Where it is received.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct NoteParams {
    /// Code of the location.
    to: String,
    /// Only look for faults, store nothing.
    #[serde(default)]
    #[param(required = false)]
    validate_only: bool,
}

/// Receive a delivery note: CSV in UTF-8 with a header line, at most 1 MiB and 5000 rows.
///
/// Columns: `lot`, `material`, `quantity` (base units), and where known `produced_on`,
/// `expires_on` and `delivery_id`. Lots that are not set up yet are set up as the row says.
/// All of its rows are received, or none: 422 with `row_errors`, every fault by row and column.
#[utoipa::path(
    tag = "stock",
    params(ProjectPath, NoteParams),
    request_body(content = String, content_type = "text/csv"),
    responses(
        (status = 201, body = Recorded),
        (status = 200, body = Recorded, description = "What would be received"),
    ),
    security(("bearer" = [])),
)]
#[post("/v1/projects/{project}/stock/delivery-notes")]
pub async fn receive_delivery_note(
    app: Data<App>,
    permit: Permit<can::MoveStock>,
    params: Query<NoteParams>,
    request: HttpRequest,
    mut file: Payload,
) -> Result<Either<Created<Recorded>, Json<Recorded>>, Problem> {
    let Permit { actor, project, .. } = permit;
    let NoteParams { to, validate_only } = params.0;
    if !request.content_type().eq_ignore_ascii_case("text/csv") {
        let detail = "send a delivery note with `Content-Type: text/csv`";
        let status = StatusCode::UNSUPPORTED_MEDIA_TYPE;
        return Err(Problem::new(status, "UNSUPPORTED_MEDIA_TYPE", detail));
    }
    let mut table = BytesMut::new();
    while let Some(chunk) = next_chunk(&mut file).await? {
        if table.len() + chunk.len() > LARGE {
            let detail = format!("at most {LARGE} bytes are read here");
            return Err(Problem::new(StatusCode::PAYLOAD_TOO_LARGE, "TOO_LARGE", detail));
        }
        table.extend_from_slice(&chunk);
    }
    let received =
        app::stock::receive_note(&app, &actor, &project, &to, &table, validate_only).await?;
    if validate_only {
        return Ok(Either::Right(Json(received)));
    }
    let location = format!("/v1/projects/{}/stock/movements", segment(&project.code));
    Ok(Either::Left(Created::at(location, received)))
}
