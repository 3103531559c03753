use actix_web::{
    HttpResponse, post,
    web::{Data, Path},
};
use app::App;
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use crate::{
    Problem,
    extract::{Permit, can},
};

/// A message to an address.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct DeliveryPath {
    /// Id or code of the project.
    #[expect(dead_code, reason = "the permit reads it")]
    project: String,
    /// Id of the webhook.
    webhook: Uuid,
    /// Id of the delivery.
    delivery: Uuid,
}

/// Send a message again, under the same `webhook-id`, from the start of its schedule.
#[utoipa::path(
    tag = "webhooks",
    params(DeliveryPath),
    responses((status = 202, description = "It is sent in a moment.")),
    security(("bearer" = [])),
)]
#[post("/v1/projects/{project}/webhooks/{webhook}/deliveries/{delivery}/resend")]
pub async fn resend_webhook_delivery(
    app: Data<App>,
    permit: Permit<can::ManageWebhooks>,
    path: Path<DeliveryPath>,
) -> Result<HttpResponse, Problem> {
    let of = (path.webhook, path.delivery);
    app::webhooks::resend(&app, &permit.project, of).await?;
    Ok(HttpResponse::Accepted().finish())
}
