use actix_web::{
    get,
    web::{Data, Json, Path},
};
use app::App;
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use store::webhooks::ShownDelivery;
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

use super::views::WebhookPath;
use crate::{
    Problem,
    extract::{Permit, Query, can, clamp},
    reply::{Page, position},
};

/// What became of a delivery.
#[derive(Debug, Clone, Copy, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum DeliveryStatus {
    /// Is sent, or sent again, later.
    Pending,
    /// Was taken.
    Delivered,
    /// Was given up.
    Failed,
}

/// Which deliveries.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct DeliveryQuery {
    /// Only those in this state.
    #[param(inline)]
    status: Option<DeliveryStatus>,
    /// Most items in the answer; 50 if absent. Less than 1 counts as 1, more than 500 as 500.
    limit: Option<u32>,
    /// `next` of the page before.
    cursor: Option<String>,
}

/// A message and what became of it.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = WebhookDeliveryView)]
pub struct DeliveryView {
    /// Id; `webhook-id` is `msg_` and this without dashes.
    id: Uuid,
    /// Number of the change.
    seq: i64,
    /// Its topic.
    #[schema(example = "joint.changed")]
    topic: String,
    /// `pending`, `delivered` or `failed`.
    #[schema(example = "failed")]
    status: String,
    /// How often it was sent.
    attempts: i32,
    /// When it is sent next.
    #[serde(skip_serializing_if = "Option::is_none")]
    next_at: Option<DateTime<Utc>>,
    /// The HTTP status of the last answer.
    #[serde(skip_serializing_if = "Option::is_none")]
    answered_status: Option<i32>,
    /// Why the last attempt failed.
    #[serde(skip_serializing_if = "Option::is_none")]
    failure: Option<String>,
    /// When it came up.
    created_at: DateTime<Utc>,
    /// When it was delivered or given up.
    #[serde(skip_serializing_if = "Option::is_none")]
    ended_at: Option<DateTime<Utc>>,
}

impl From<ShownDelivery> for DeliveryView {
    fn from(it: ShownDelivery) -> Self {
        Self {
            id: it.id,
            seq: it.seq,
            topic: it.topic,
            status: it.status,
            attempts: it.attempts,
            next_at: it.next_at,
            answered_status: it.answered_status,
            failure: it.failure,
            created_at: it.created_at,
            ended_at: it.ended_at,
        }
    }
}

/// What was sent to an address, newest first.
#[utoipa::path(
    tag = "webhooks",
    params(WebhookPath, DeliveryQuery),
    responses((status = 200, body = Page<DeliveryView>)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/webhooks/{webhook}/deliveries")]
pub async fn list_webhook_deliveries(
    app: Data<App>,
    permit: Permit<can::ManageWebhooks>,
    path: Path<WebhookPath>,
    query: Query<DeliveryQuery>,
) -> Result<Json<Page<DeliveryView>>, Problem> {
    let query = query.0;
    let status = query.status.map(|status| match status {
        DeliveryStatus::Pending => "pending",
        DeliveryStatus::Delivered => "delivered",
        DeliveryStatus::Failed => "failed",
    });
    let before = query.cursor.as_deref().map(position).transpose()?;
    let limit = clamp(query.limit);
    let (id, one_more) = (path.webhook, i64::from(limit) + 1);
    let found =
        app::webhooks::deliveries(&app, &permit.project, id, (status, before), one_more).await?;
    Ok(Json(Page::cut(found, limit, |last| last.seq).map(DeliveryView::from)))
}
