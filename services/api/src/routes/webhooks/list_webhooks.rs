use actix_web::{
    get,
    web::{Data, Json},
};
use app::App;

use super::views::WebhookView;
use crate::{
    Problem,
    extract::{Permit, ProjectPath, can},
    reply::{Page, Versioned},
};

/// List the webhooks of a project, oldest first, without their secrets.
#[utoipa::path(
    tag = "webhooks",
    params(ProjectPath),
    responses((status = 200, body = Page<Versioned<WebhookView>>)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/webhooks")]
pub async fn list_webhooks(
    app: Data<App>,
    permit: Permit<can::ManageWebhooks>,
) -> Result<Json<Page<Versioned<WebhookView>>>, Problem> {
    let webhooks = app::webhooks::list(&app, &permit.project).await?;
    Ok(Json(Page::whole(webhooks).map(WebhookView::versioned)))
}
