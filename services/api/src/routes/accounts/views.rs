use domain::ids::UserId;
use serde::Serialize;
use utoipa::ToSchema;

/// What a session is used with.
#[derive(Serialize, ToSchema)]
pub struct SessionView {
    /// Goes into `Authorization: Bearer`.
    access_token: String,
    /// Exchanged once for the next pair of tokens.
    refresh_token: String,
    /// Always `Bearer`.
    #[schema(example = "Bearer")]
    token_type: &'static str,
    /// Seconds until the access token expires.
    expires_in: i64,
}

impl From<app::accounts::SessionTokens> for SessionView {
    fn from(tokens: app::accounts::SessionTokens) -> Self {
        Self {
            access_token: tokens.access_token,
            refresh_token: tokens.refresh_token,
            token_type: tokens.token_type,
            expires_in: tokens.expires_in,
        }
    }
}

/// Somebody new who can sign in.
#[derive(Serialize, ToSchema)]
pub struct CreatedUserView {
    /// Id.
    pub id: UserId,
}

/// Somebody who can sign in.
#[derive(Serialize, ToSchema)]
pub struct UserView {
    /// Id.
    pub id: UserId,
    /// Address they sign in with.
    pub email: String,
    /// Printed name.
    pub name: String,
    /// Whether they administer the server.
    pub is_administrator: bool,
}
