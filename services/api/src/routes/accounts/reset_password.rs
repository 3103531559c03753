use actix_web::{HttpResponse, post, web::Data};
use app::App;
use domain::schema::Validate;
use serde::Deserialize;
use utoipa::ToSchema;

use crate::{Problem, extract::Body};

/// A code from an administrator, and the new password.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PasswordResetRequest {
    /// The code; case, spaces and dashes do not matter.
    #[schema(max_length = 100)]
    code: String,
    /// Password as it shall be: 12 to 128 characters, not one that is easily guessed.
    #[schema(min_length = 12, max_length = 128, format = Password)]
    new_password: String,
}

impl Validate for PasswordResetRequest {}

/// Set a new password with a code from an administrator.
///
/// All devices are signed out; a sign-in that was slowed down is not any more at a known address.
#[utoipa::path(
    tag = "accounts",
    request_body = PasswordResetRequest,
    responses((status = 204, description = "The new password is in force")),
)]
#[post("/v1/password-resets")]
pub async fn reset_password(
    app: Data<App>,
    body: Body<PasswordResetRequest>,
) -> Result<HttpResponse, Problem> {
    let PasswordResetRequest { code, new_password } = body.0;
    app::accounts::reset_password(&app, &code, new_password.into()).await?;
    Ok(HttpResponse::NoContent().finish())
}
