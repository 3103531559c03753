use actix_web::{
    post,
    web::{Data, Json},
};
use app::App;
use domain::schema::Validate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::views::SessionView;
use crate::{Problem, extract::Body};

/// The session to go on with.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RefreshRequest {
    /// The latest refresh token of the session; it works once.
    #[schema(max_length = 1024)]
    refresh_token: String,
}

impl Validate for RefreshRequest {}

/// Exchange a refresh token for the next pair of tokens.
#[utoipa::path(
    tag = "accounts",
    request_body = RefreshRequest,
    responses((status = 200, body = SessionView)),
)]
#[post("/v1/sessions/refresh")]
pub async fn refresh_session(
    app: Data<App>,
    body: Body<RefreshRequest>,
) -> Result<Json<SessionView>, Problem> {
    let tokens = app::accounts::refresh(&app, &body.0.refresh_token).await?;
    Ok(Json(tokens.into()))
}
