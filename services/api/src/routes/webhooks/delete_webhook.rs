use actix_web::{
    HttpResponse, delete,
    web::{Data, Path},
};
use app::App;

use super::views::WebhookPath;
use crate::{
    Problem,
    extract::{IfMatch, Permit, can},
};

/// Send nothing more to an address, and forget what became of what was sent.
#[utoipa::path(
    tag = "webhooks",
    params(
        WebhookPath,
        ("If-Match" = String, Header, description = "ETag, such as `\"v17\"`"),
    ),
    responses((status = 204, description = "It is gone.")),
    security(("bearer" = [])),
)]
#[delete("/v1/projects/{project}/webhooks/{webhook}")]
pub async fn delete_webhook(
    app: Data<App>,
    permit: Permit<can::ManageWebhooks>,
    path: Path<WebhookPath>,
    seen: IfMatch,
) -> Result<HttpResponse, Problem> {
    let seen = (path.webhook, seen.required()?);
    app::webhooks::delete(&app, &permit.project, seen).await?;
    Ok(HttpResponse::NoContent().finish())
}
