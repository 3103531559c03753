use actix_web::{
    HttpResponse, put,
    web::{Data, Path},
};
use app::App;
use domain::schema::Validate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::create_password_reset::UserPath;
use crate::{
    Problem,
    extract::{Body, SignedIn},
};

/// Whether somebody may sign in.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct UserStatusRequest {
    /// Refused from now on, or not any more.
    disabled: bool,
}

impl Validate for UserStatusRequest {}

/// Shut somebody out, or let them in again.
///
/// Only an administrator of the server may. Shutting out ends every session at once.
#[utoipa::path(
    tag = "accounts",
    params(UserPath),
    request_body = UserStatusRequest,
    responses((status = 204, description = "It is so from now on")),
    security(("bearer" = [])),
)]
#[put("/v1/users/{user}/status")]
pub async fn set_user_status(
    app: Data<App>,
    signed_in: SignedIn,
    path: Path<UserPath>,
    body: Body<UserStatusRequest>,
) -> Result<HttpResponse, Problem> {
    let disabled = body.0.disabled;
    app::accounts::set_disabled(&app, &signed_in.actor, path.user, disabled).await?;
    Ok(HttpResponse::NoContent().finish())
}
