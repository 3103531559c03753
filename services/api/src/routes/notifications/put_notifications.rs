use actix_web::{
    put,
    web::{Data, Json},
};
use app::App;
use domain::schema::Validate;
use serde::{Deserialize, Serialize};
use store::mails::Choice;
use utoipa::ToSchema;

use crate::{
    Problem,
    extract::{Body, Permit, ProjectPath, can},
};

/// What you want to be written about.
#[derive(Debug, Clone, Copy, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NotificationChoice {
    /// Urgent warnings, at once.
    urgent: bool,
    /// What is open, each morning at six in the zone of the project; nothing if nothing is.
    digest: bool,
}

impl Validate for NotificationChoice {}

/// Choose what you want to be written about by e-mail in this project; nothing, until you choose.
#[utoipa::path(
    tag = "warnings",
    params(ProjectPath),
    request_body = NotificationChoice,
    responses((status = 200, body = NotificationChoice)),
    security(("bearer" = [])),
)]
#[put("/v1/projects/{project}/me/notifications")]
pub async fn put_notifications(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
    body: Body<NotificationChoice>,
) -> Result<Json<NotificationChoice>, Problem> {
    let NotificationChoice { urgent, digest } = body.0;
    let choice = Choice { urgent, digest };
    app::mail::choose(&app, &permit.actor, &permit.project, choice).await?;
    Ok(Json(body.0))
}
