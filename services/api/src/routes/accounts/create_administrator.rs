use actix_web::{post, web::Data};
use app::App;
use domain::schema::Validate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::views::CreatedUserView;
use crate::{Problem, extract::Body, reply::Created};

/// The first administrator of a new server.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AdministratorRequest {
    /// The set-up code that the server printed; it works once.
    #[schema(max_length = 200)]
    code: String,
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

impl Validate for AdministratorRequest {}

/// Claim a new server with its set-up code.
#[utoipa::path(
    tag = "accounts",
    request_body = AdministratorRequest,
    responses((status = 201, body = CreatedUserView)),
)]
#[post("/v1/administrators")]
pub async fn create_administrator(
    app: Data<App>,
    body: Body<AdministratorRequest>,
) -> Result<Created<CreatedUserView>, Problem> {
    let AdministratorRequest { code, email, name, password } = body.0;
    let id = app::accounts::claim_setup_code(&app, &code, email, name, password.into()).await?;
    Ok(Created::at("/v1/me", CreatedUserView { id }))
}
