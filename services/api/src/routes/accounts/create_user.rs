use actix_web::{post, web::Data};
use app::{App, accounts::NewUser};
use domain::schema::Validate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::views::CreatedUserView;
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
    #[schema(max_length = 254, example = "ada@example.org")]
    email: String,
    /// Printed name.
    #[schema(min_length = 1, max_length = 200)]
    name: String,
    /// Password to sign in with.
    #[schema(min_length = 12, max_length = 128, format = Password)]
    password: String,
}

impl Validate for UserRequest {}

/// Add somebody who can sign in.
///
/// Only an administrator of the server may; a project then makes them a member.
#[utoipa::path(
    tag = "accounts",
    request_body = UserRequest,
    responses((status = 201, body = CreatedUserView)),
    security(("bearer" = [])),
)]
#[post("/v1/users")]
pub async fn create_user(
    app: Data<App>,
    signed_in: SignedIn,
    body: Body<UserRequest>,
) -> Result<Created<CreatedUserView>, Problem> {
    let UserRequest { email, name, password } = body.0;
    let new = NewUser { email, name, password: password.into() };
    let id = app::accounts::create_user(&app, &signed_in.actor, new).await?;
    Ok(Created::at(format!("/v1/users/{id}"), CreatedUserView { id }))
}
