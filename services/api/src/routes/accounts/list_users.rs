use actix_web::{
    get,
    web::{Data, Json},
};
use app::App;
use chrono::{DateTime, Utc};
use domain::ids::UserId;
use serde::Serialize;
use utoipa::ToSchema;

use crate::{
    Problem,
    extract::{Paging, Query, SignedIn},
    reply::Page,
};

/// Somebody who can sign in, as an administrator sees them.
#[derive(Serialize, ToSchema)]
pub struct AccountView {
    /// Id.
    id: UserId,
    /// Address they sign in with.
    email: String,
    /// Printed name.
    name: String,
    /// Whether they administer the server.
    is_administrator: bool,
    /// Since when they are refused; null while they are not.
    #[schema(required)]
    disabled_at: Option<DateTime<Utc>>,
    /// When the account was made.
    created_at: DateTime<Utc>,
}

impl From<store::users::User> for AccountView {
    fn from(user: store::users::User) -> Self {
        Self {
            id: user.id,
            email: user.email,
            name: user.name,
            is_administrator: user.is_administrator,
            disabled_at: user.disabled_at,
            created_at: user.created_at,
        }
    }
}

/// List everybody who can sign in, by e-mail.
///
/// Only an administrator of the server may.
#[utoipa::path(
    tag = "accounts",
    params(Paging),
    responses((status = 200, body = Page<AccountView>)),
    security(("bearer" = [])),
)]
#[get("/v1/users")]
pub async fn list_users(
    app: Data<App>,
    signed_in: SignedIn,
    paging: Query<Paging>,
) -> Result<Json<Page<AccountView>>, Problem> {
    let after: Option<String> = paging.0.position()?;
    let limit = paging.0.limit();
    let more = i64::from(limit) + 1;
    let users = app::accounts::list_users(&app, &signed_in.actor, after.as_deref(), more).await?;
    let page = Page::cut(users, limit, |last| last.email.clone());
    Ok(Json(page.map(AccountView::from)))
}
