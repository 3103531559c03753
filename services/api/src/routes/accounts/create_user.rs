use actix_web::{post, web::Data};
use app::App;
use domain::schema::Validate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::views::UserView;
use crate::{
    Problem,
    extract::{Body, SignedIn},
    reply::Created,
};

/// A new user.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct UserRequest {
    /// Address to sign in with.
    #[schema(max_length = 254, format = "email")]
    email: String,
    /// Printed name.
    #[schema(min_length = 1, max_length = 200)]
    name: String,
    /// Password to sign in with.
    #[schema(min_length = 12, max_length = 1024, format = Password)]
    password: String,
}

impl Validate for UserRequest {}

/// Add somebody who can sign in.
///
/// Only an administrator of the server may; a project then makes them a member.
#[utoipa::path(
    tag = "accounts",
    request_body = UserRequest,
    responses((status = 201, body = UserView)),
    security(("bearer" = [])),
)]
#[post("/v1/users")]
pub async fn create_user(
    app: Data<App>,
    signed_in: SignedIn,
    body: Body<UserRequest>,
) -> Result<Created<UserView>, Problem> {
    let UserRequest { email, name, password } = body.0;
    let actor = &signed_in.actor;
    let id = app::accounts::create_user(&app, actor, &email, &name, password.into()).await?;
    let user = UserView { id, email, name, is_administrator: false };
    Ok(Created::at(format!("/v1/users/{id}"), user))
}
