use actix_web::{
    Either as Answer, post,
    web::{Data, Json},
};
use app::{App, ambient::OutlookView};
use domain::ambient::NewOutlook;

use crate::{
    Problem,
    extract::{Either, LargeBody, Permit, ProjectPath, can},
    reply::{Created, segment},
};

/// Record an outlook of the weather: an hourly forecast as it was issued.
///
/// It has at most 384 hours, each an hour or more after the one before and at most 16 days after the issue.
/// Of two outlooks that tell the same hour of a spread the later issue is believed; both are kept.
/// The same `id` again with the same content has one effect.
#[utoipa::path(
    tag = "ambient",
    params(ProjectPath),
    request_body = NewOutlook,
    responses(
        (status = 201, body = OutlookView, description = "Stored"),
        (status = 200, body = OutlookView, description = "The same outlook was stored before"),
    ),
    security(("bearer" = [])),
)]
#[post("/v1/projects/{project}/ambient/outlooks")]
pub async fn record_ambient_outlook(
    app: Data<App>,
    permit: Permit<Either<can::RecordFacts, can::ManageLine>>,
    body: LargeBody<NewOutlook>,
) -> Result<Answer<Created<OutlookView>, Json<OutlookView>>, Problem> {
    record(&app, &permit, body.0).await
}

/// Records `outlook`, however it came.
pub(super) async fn record(
    app: &App,
    permit: &Permit<Either<can::RecordFacts, can::ManageLine>>,
    outlook: NewOutlook,
) -> Result<Answer<Created<OutlookView>, Json<OutlookView>>, Problem> {
    let Permit { actor, project, .. } = permit;
    let (view, repeated) = app::ambient::record_outlook(app, actor, project, outlook).await?;
    if repeated {
        return Ok(Answer::Right(Json(view)));
    }
    let code = segment(&project.code);
    let location = format!("/v1/projects/{code}/ambient/outlooks/{}", view.issue.id);
    Ok(Answer::Left(Created::at(location, view)))
}
