use actix_web::{
    put,
    web::{Data, Path},
};
use app::App;

use super::views::{WebhookPath, WebhookRequest, WebhookView};
use crate::{
    Problem,
    extract::{Body, IfMatch, Permit, can},
    reply::Versioned,
};

/// Change what is sent and where to.
#[utoipa::path(
    tag = "webhooks",
    params(
        WebhookPath,
        ("If-Match" = String, Header, description = "ETag, such as `\"v17\"`"),
    ),
    request_body = WebhookRequest,
    responses((status = 200, body = Versioned<WebhookView>)),
    security(("bearer" = [])),
)]
#[put("/v1/projects/{project}/webhooks/{webhook}")]
pub async fn put_webhook(
    app: Data<App>,
    permit: Permit<can::ManageWebhooks>,
    path: Path<WebhookPath>,
    seen: IfMatch,
    body: Body<WebhookRequest>,
) -> Result<Versioned<WebhookView>, Problem> {
    let seen = (path.webhook, seen.required()?);
    let put = app::webhooks::update(&app, &permit.project, seen, &body.0.wanted()).await?;
    Ok(WebhookView::versioned(put))
}
