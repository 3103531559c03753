use actix_web::{post, web::Data};
use app::App;
use domain::schema::Validate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::views::SessionView;
use crate::{
    Problem,
    extract::{Body, Client},
    reply::Created,
};

/// Who signs in.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SignInRequest {
    /// Address of the user.
    #[schema(max_length = 254)]
    email: String,
    /// Password of the user.
    #[schema(max_length = 1024, format = Password)]
    password: String,
}

impl Validate for SignInRequest {}

/// Sign in.
#[utoipa::path(
    tag = "accounts",
    request_body = SignInRequest,
    responses((status = 201, body = SessionView)),
)]
#[post("/v1/sessions")]
pub async fn create_session(
    app: Data<App>,
    client: Client,
    body: Body<SignInRequest>,
) -> Result<Created<SessionView>, Problem> {
    let SignInRequest { email, password } = body.0;
    let tokens = app::accounts::sign_in(&app, &email, password.into(), &client.0).await?;
    Ok(Created::at("/v1/me", tokens.into()))
}
