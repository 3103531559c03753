use actix_web::{HttpResponse, put, web::Data};
use app::App;
use domain::schema::Validate;
use serde::Deserialize;
use utoipa::ToSchema;

use crate::{
    Problem,
    extract::{Body, Client, SignedIn},
};

/// The old password and the new one.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PasswordRequest {
    /// Password as it is.
    #[schema(max_length = 1024, format = Password)]
    password: String,
    /// Password as it shall be: 12 to 128 characters, not one that is easily guessed.
    #[schema(min_length = 12, max_length = 128, format = Password)]
    new_password: String,
}

impl Validate for PasswordRequest {}

/// Change your password.
///
/// Other devices are signed out.
#[utoipa::path(
    tag = "accounts",
    request_body = PasswordRequest,
    responses((status = 204, description = "The new password is in force")),
    security(("bearer" = [])),
)]
#[put("/v1/me/password")]
pub async fn change_password(
    app: Data<App>,
    signed_in: SignedIn,
    client: Client,
    body: Body<PasswordRequest>,
) -> Result<HttpResponse, Problem> {
    let PasswordRequest { password, new_password } = body.0;
    let (old, new) = (password.into(), new_password.into());
    app::accounts::change_password(&app, &signed_in.actor, old, new, &client.0).await?;
    Ok(HttpResponse::NoContent().finish())
}
