//! A webhook as it is asked for and as it is shown.

use chrono::{DateTime, Utc};
use domain::schema::Validate;
use serde::{Deserialize, Serialize};
use store::webhooks::{Wanted, Webhook};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

use crate::reply::Versioned;

/// A webhook of a project.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct WebhookPath {
    /// Id or code of the project.
    #[expect(dead_code, reason = "the permit reads it")]
    project: String,
    /// Id of the webhook.
    pub webhook: Uuid,
}

/// What to send and where to.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WebhookRequest {
    /// Address, `https`, that leads to a public address.
    #[schema(max_length = 2000, example = "https://hooks.example.org/jointward")]
    url: String,
    /// Which topics; all if there are none.
    #[serde(default)]
    #[schema(max_items = 50, example = json!(["release.given", "warning.raised"]))]
    topics: Vec<String>,
    /// Whether anything is sent. One that is switched on again begins with what comes next.
    #[serde(default = "yes")]
    enabled: bool,
}

fn yes() -> bool {
    true
}

impl Validate for WebhookRequest {}

impl WebhookRequest {
    /// What is wanted.
    pub fn wanted(&self) -> Wanted<'_> {
        Wanted { url: &self.url, topics: &self.topics, enabled: self.enabled }
    }
}

/// What is sent and where to.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct WebhookView {
    /// Id.
    id: Uuid,
    /// Address.
    url: String,
    /// Which topics; all if there are none.
    topics: Vec<String>,
    /// Whether anything is sent.
    enabled: bool,
    /// Why the server itself stopped sending.
    #[serde(skip_serializing_if = "Option::is_none")]
    disabled_reason: Option<String>,
    /// Up to then the secret before the present one signs as well.
    #[serde(skip_serializing_if = "Option::is_none")]
    previous_secret_until: Option<DateTime<Utc>>,
    /// Number of the newest change that was taken up.
    position: i64,
    /// When it was made.
    created_at: DateTime<Utc>,
}

impl WebhookView {
    /// The view of a webhook with its version.
    pub fn versioned(webhook: Webhook) -> Versioned<Self> {
        let version = webhook.version;
        let view = Self {
            id: webhook.id,
            url: webhook.url,
            topics: webhook.topics,
            enabled: webhook.enabled,
            disabled_reason: webhook.disabled_reason,
            previous_secret_until: webhook.previous_until,
            position: webhook.position,
            created_at: webhook.created_at,
        };
        Versioned::new(view, version)
    }
}

/// A webhook and its secret, which is shown this once.
#[derive(Debug, Serialize, ToSchema)]
pub struct WebhookSecretView {
    /// `whsec_` and base64: what signatures are verified with. It is shown this once.
    #[schema(example = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw")]
    secret: String,
    /// The webhook.
    webhook: Versioned<WebhookView>,
}

impl From<app::webhooks::NewWebhook> for WebhookSecretView {
    fn from(new: app::webhooks::NewWebhook) -> Self {
        Self { secret: new.secret, webhook: WebhookView::versioned(new.webhook) }
    }
}
