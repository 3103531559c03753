use actix_web::{
    HttpResponse, get,
    http::header,
    web::{Data, Path},
};
use app::App;

use super::CheckpointPath;
use crate::{
    Problem,
    extract::{Permit, can},
};

/// One checkpoint as a file to keep elsewhere, with the head of every joint.
///
/// Line 1 is the text that was signed, line 2 the signature and the public key, and each other line
/// a leaf of the tree. `jointward verify --against FILE` holds the records against it.
#[utoipa::path(
    tag = "checkpoints",
    params(CheckpointPath),
    responses((status = 200, body = String, content_type = "text/plain")),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/checkpoints/{number}/file")]
pub async fn get_checkpoint_file(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
    path: Path<CheckpointPath>,
) -> Result<HttpResponse, Problem> {
    let number = path.number()?;
    let text = app::seal::text(&app, &permit.project, number).await?;
    let name = format!("attachment; filename=\"{number:06}.checkpoint\"");
    Ok(HttpResponse::Ok()
        .insert_header((header::CONTENT_TYPE, "text/plain; charset=utf-8"))
        .insert_header((header::CONTENT_DISPOSITION, name))
        .body(text))
}
