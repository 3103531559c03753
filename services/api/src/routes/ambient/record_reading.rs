use actix_web::{HttpResponse, post, web::Data};
use app::{App, ambient::ReadingView};
use domain::ambient::NewReading;

use crate::{
    Problem,
    extract::{Body, Either, Permit, ProjectPath, can},
};

/// Record a reading of the weather.
///
/// A reading is taken at a spread, with its relative humidity, or at a location of stock. They may
/// come in any order and of any age. The same `id` again with the same content has one effect.
///
/// An entry that names another one of its place in `supersedes`, with a `reason`, takes its place;
/// one without `air_c` takes it away. At a spread that takes `supersede_facts`, at a location
/// `manage_materials` does as well.
#[utoipa::path(
    tag = "ambient",
    params(ProjectPath),
    request_body = NewReading,
    responses(
        (status = 201, body = ReadingView, description = "Stored"),
        (status = 200, body = ReadingView, description = "The same reading was stored before"),
    ),
    security(("bearer" = [])),
)]
#[post("/v1/projects/{project}/ambient/readings")]
pub async fn record_reading(
    app: Data<App>,
    permit: Permit<Either<can::RecordFacts, can::MoveStock>>,
    body: Body<NewReading>,
) -> Result<HttpResponse, Problem> {
    let Permit { actor, project, .. } = permit;
    let recorded = app::ambient::record(&app, &actor, &project, body.0).await?;
    let mut answer = if recorded.repeated { HttpResponse::Ok() } else { HttpResponse::Created() };
    Ok(answer.json(recorded.view))
}
