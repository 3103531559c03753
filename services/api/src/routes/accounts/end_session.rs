use actix_web::{
    HttpResponse, delete,
    web::{Data, Path},
};
use app::App;
use domain::ids::SessionId;
use serde::Deserialize;
use utoipa::IntoParams;

use crate::{Problem, extract::SignedIn};

/// Which session.
#[derive(Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct SessionPath {
    /// Id of the session.
    session: SessionId,
}

/// Sign a device out.
///
/// Its next request is refused, whichever server it reaches.
#[utoipa::path(
    tag = "accounts",
    params(SessionPath),
    responses((status = 204, description = "The session has ended")),
    security(("bearer" = [])),
)]
#[delete("/v1/sessions/{session}")]
pub async fn end_session(
    app: Data<App>,
    signed_in: SignedIn,
    path: Path<SessionPath>,
) -> Result<HttpResponse, Problem> {
    app::accounts::end_session(&app, &signed_in.actor, path.session).await?;
    Ok(HttpResponse::NoContent().finish())
}
