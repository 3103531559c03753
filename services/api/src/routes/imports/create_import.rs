use actix_web::{
    HttpMessage, HttpRequest, HttpResponse,
    http::{StatusCode, header},
    post,
    web::{Data, Payload},
};
use app::{
    App,
    imports::{ImportKind, LARGEST_FILE},
};
use domain::ids::ImportId;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use crate::{
    Problem,
    extract::{Permit, ProjectPath, Query, can, next_chunk},
    reply::segment,
};

/// How to read the file.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct ImportParams {
    /// What the file holds.
    #[param(inline)]
    kind: ImportKind,
    /// Only look for faults, store nothing.
    #[serde(default)]
    #[param(required = false)]
    validate_only: bool,
}

/// An import that has been taken in.
#[derive(Serialize, ToSchema)]
pub struct ImportAccepted {
    /// Id; read the import to see how far it has come.
    id: ImportId,
    /// `waiting`.
    status: &'static str,
}

/// Upload a register: CSV in UTF-8 with a header line, at most 50 MiB.
///
/// A job reads the file. All of its rows are stored, or none.
#[utoipa::path(
    tag = "imports",
    params(ProjectPath, ImportParams),
    request_body(content = String, content_type = "text/csv"),
    responses((status = 202, body = ImportAccepted, headers(("Location" = String)))),
    security(("bearer" = [])),
)]
#[post("/v1/projects/{project}/imports")]
pub async fn create_import(
    app: Data<App>,
    permit: Permit<can::ImportRegisters>,
    params: Query<ImportParams>,
    request: HttpRequest,
    mut file: Payload,
) -> Result<HttpResponse, Problem> {
    let Permit { actor, project, .. } = permit;
    let ImportParams { kind, validate_only } = params.0;
    check_headers(&request)?;
    let mut upload = app::imports::open(&app, &actor, &project, kind, validate_only).await?;
    let mut size = 0;
    while let Some(chunk) = next_chunk(&mut file).await? {
        size += chunk.len();
        if size > LARGEST_FILE {
            return Err(too_large());
        }
        upload.push(&chunk).await?;
    }
    let id = upload.finish().await?;
    let location = format!("/v1/projects/{}/imports/{id}", segment(&project.code));
    Ok(HttpResponse::Accepted()
        .insert_header((header::LOCATION, location))
        .json(ImportAccepted { id, status: "waiting" }))
}

fn check_headers(request: &HttpRequest) -> Result<(), Problem> {
    if !request.content_type().eq_ignore_ascii_case("text/csv") {
        let detail = "send a register with `Content-Type: text/csv`";
        let status = StatusCode::UNSUPPORTED_MEDIA_TYPE;
        return Err(Problem::new(status, "UNSUPPORTED_MEDIA_TYPE", detail));
    }
    let announced = request.headers().get(header::CONTENT_LENGTH);
    let announced = announced.and_then(|it| it.to_str().ok()).and_then(|it| it.parse().ok());
    if announced.is_some_and(|length: usize| length > LARGEST_FILE) {
        return Err(too_large());
    }
    Ok(())
}

fn too_large() -> Problem {
    let detail = format!("at most {LARGEST_FILE} bytes are read here");
    Problem::new(StatusCode::PAYLOAD_TOO_LARGE, "TOO_LARGE", detail)
}

#[cfg(test)]
mod tests {
    use actix_web::test::TestRequest;

    use super::*;

    fn refusal(kind: &str, length: usize) -> Option<u16> {
        let request = TestRequest::default()
            .insert_header(("content-type", kind))
            .insert_header(("content-length", length.to_string()))
            .to_http_request();
        check_headers(&request).err().map(|problem| problem.status().as_u16())
    }

    #[test]
    fn only_a_csv_of_bearable_size_is_taken() {
        assert_eq!(refusal("text/csv; charset=utf-8", LARGEST_FILE), None);
        assert_eq!(refusal("application/json", 1), Some(415));
        assert_eq!(refusal("text/csv", LARGEST_FILE + 1), Some(413));
    }
}
