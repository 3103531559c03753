use actix_web::{HttpRequest, post, web::Data};
use app::App;

use super::views::{WebhookRequest, WebhookSecretView};
use crate::{
    Problem,
    extract::{Body, Permit, ProjectPath, can},
    reply::Created,
};

/// Send changes to an address.
///
/// Messages and signatures are those of Standard Webhooks 1.0.0. What comes next in the feed is sent;
/// a message that is not taken with a status of 200 to 299 within 15 seconds is sent again nine times
/// over three days. `Idempotency-Key` has no effect here: the answer holds a secret.
#[utoipa::path(
    tag = "webhooks",
    params(ProjectPath),
    request_body = WebhookRequest,
    responses((status = 201, body = WebhookSecretView)),
    security(("bearer" = [])),
)]
#[post("/v1/projects/{project}/webhooks")]
pub async fn create_webhook(
    app: Data<App>,
    permit: Permit<can::ManageWebhooks>,
    request: HttpRequest,
    body: Body<WebhookRequest>,
) -> Result<Created<WebhookSecretView>, Problem> {
    let Permit { actor, project, .. } = permit;
    let new = app::webhooks::create(&app, &actor, &project, &body.0.wanted()).await?;
    let location = format!("{}/{}", request.path(), new.webhook.id);
    Ok(Created::at(location, new.into()))
}
