use actix_web::{
    HttpRequest, HttpResponse,
    body::SizedStream,
    get,
    http::header,
    web::{Bytes, Data, Path},
};
use app::App;
use futures_util::StreamExt;

use super::ExportPath;
use crate::{
    Problem,
    extract::{Permit, asked, can},
};

/// Download a copy that is done, as a tape archive (`.tar`).
///
/// Who downloads it is noted in the audit of readings.
#[utoipa::path(
    tag = "exports",
    params(ExportPath),
    responses((status = 200, body = Vec<u8>, content_type = "application/x-tar")),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/exports/{id}/download")]
pub async fn download_export(
    app: Data<App>,
    permit: Permit<can::ExportProject>,
    path: Path<ExportPath>,
    request: HttpRequest,
) -> Result<HttpResponse, Problem> {
    let Permit { actor, project, .. } = permit;
    let asked = asked(&request, &actor);
    let (export, parts) = app::export::download(&app, &project, path.id()?, &asked).await?;
    let size = u64::try_from(export.bytes).unwrap_or_default();
    let parts = Box::pin(parts.map(|it| it.map(Bytes::from)));
    let name = format!("attachment; filename=\"{}.tar\"", export.id);
    Ok(HttpResponse::Ok()
        .insert_header((header::CONTENT_TYPE, "application/x-tar"))
        .insert_header((header::CONTENT_DISPOSITION, name))
        .body(SizedStream::new(size, parts)))
}
