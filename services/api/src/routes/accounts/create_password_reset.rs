use actix_web::{
    HttpResponse, post,
    web::{Data, Path},
};
use app::App;
use chrono::{DateTime, Utc};
use domain::ids::UserId;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use crate::{Problem, extract::SignedIn};

/// Which user.
#[derive(Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct UserPath {
    /// Id of the user.
    pub user: UserId,
}

/// A code that is shown once.
#[derive(Serialize, ToSchema)]
pub struct ResetCodeView {
    /// Goes into `POST /v1/password-resets`, once.
    #[schema(example = "7K2QD-0V9XA-M3HTE-R5WBN")]
    code: String,
    /// Until when.
    expires_at: DateTime<Utc>,
}

/// Make a code by which somebody who forgot their password sets a new one.
///
/// Only an administrator of the server may. Hand the code over in person or by a way that you
/// trust; an earlier code of the same user is void.
#[utoipa::path(
    tag = "accounts",
    params(UserPath),
    responses((status = 201, body = ResetCodeView)),
    security(("bearer" = [])),
)]
#[post("/v1/users/{user}/password-resets")]
pub async fn create_password_reset(
    app: Data<App>,
    signed_in: SignedIn,
    path: Path<UserPath>,
) -> Result<HttpResponse, Problem> {
    let (code, expires_at) =
        app::accounts::new_reset_code(&app, &signed_in.actor, path.user).await?;
    Ok(HttpResponse::Created().json(ResetCodeView { code, expires_at }))
}
