use actix_web::{
    get,
    web::{Data, Json},
};
use app::App;
use chrono::{DateTime, Utc};
use domain::ids::SessionId;
use serde::Serialize;
use utoipa::ToSchema;

use crate::{Problem, extract::SignedIn, reply::Page};

/// A device on which the caller is signed in.
#[derive(Serialize, ToSchema)]
pub struct DeviceView {
    /// Id of the session.
    id: SessionId,
    /// What the device said of itself when it signed in.
    device: Option<String>,
    /// Whether it is the one that asks.
    current: bool,
    /// When it signed in.
    created_at: DateTime<Utc>,
    /// When its tokens were last replaced.
    refreshed_at: DateTime<Utc>,
    /// When it has to sign in again.
    expires_at: DateTime<Utc>,
}

/// List the devices on which you are signed in.
#[utoipa::path(
    tag = "accounts",
    responses((status = 200, body = Page<DeviceView>)),
    security(("bearer" = [])),
)]
#[get("/v1/sessions")]
pub async fn list_sessions(
    app: Data<App>,
    signed_in: SignedIn,
) -> Result<Json<Page<DeviceView>>, Problem> {
    let sessions = app::accounts::list_sessions(&app, &signed_in.actor).await?;
    Ok(Json(Page::whole(sessions).map(|it| DeviceView {
        id: it.id,
        device: it.device,
        current: it.id == signed_in.actor.session,
        created_at: it.created_at,
        refreshed_at: it.refreshed_at,
        expires_at: it.expires_at,
    })))
}
