use actix_web::{
    post,
    web::{Data, Json, Path},
};
use app::App;

use super::views::{WebhookPath, WebhookSecretView};
use crate::{
    Problem,
    extract::{Permit, can},
};

/// Give a webhook a new secret.
///
/// For 24 hours messages carry two signatures, by the new secret and by the one before, so that the
/// receiver can change over in between.
#[utoipa::path(
    tag = "webhooks",
    params(WebhookPath),
    responses((status = 200, body = WebhookSecretView)),
    security(("bearer" = [])),
)]
#[post("/v1/projects/{project}/webhooks/{webhook}/secret")]
pub async fn rotate_webhook_secret(
    app: Data<App>,
    permit: Permit<can::ManageWebhooks>,
    path: Path<WebhookPath>,
) -> Result<Json<WebhookSecretView>, Problem> {
    let new = app::webhooks::rotate(&app, &permit.project, path.webhook).await?;
    Ok(Json(new.into()))
}
