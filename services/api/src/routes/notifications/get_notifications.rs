use actix_web::{
    get,
    web::{Data, Json},
};
use app::App;
use chrono::{DateTime, Utc};
use serde::Serialize;
use utoipa::ToSchema;

use crate::{
    Problem,
    extract::{Permit, ProjectPath, can},
};

/// What you want to be written about, and what was written to you.
#[derive(Debug, Serialize, ToSchema)]
pub struct NotificationsView {
    /// Urgent warnings, at once.
    urgent: bool,
    /// What is open, each morning at six in the zone of the project; nothing if nothing is.
    digest: bool,
    /// The latest fifty mails, newest first.
    mails: Vec<MailView>,
}

/// A mail to you.
#[derive(Debug, Serialize, ToSchema)]
pub struct MailView {
    /// `urgent` or `digest`.
    kind: String,
    /// Subject.
    subject: String,
    /// `pending`, `sent`, `skipped` (there is nothing to send by, or nobody to send to) or `failed`.
    status: String,
    /// Why not.
    #[serde(skip_serializing_if = "Option::is_none")]
    failure: Option<String>,
    /// When it was written.
    created_at: DateTime<Utc>,
    /// When it was sent or given up.
    #[serde(skip_serializing_if = "Option::is_none")]
    ended_at: Option<DateTime<Utc>>,
}

/// What you want to be written about, and what was written to you.
#[utoipa::path(
    tag = "warnings",
    params(ProjectPath),
    responses((status = 200, body = NotificationsView)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/me/notifications")]
pub async fn get_notifications(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
) -> Result<Json<NotificationsView>, Problem> {
    let found = app::mail::notifications(&app, &permit.actor, &permit.project).await?;
    let mails = found.mails.into_iter().map(|it| MailView {
        kind: it.kind,
        subject: it.subject,
        status: it.status,
        failure: it.failure,
        created_at: it.created_at,
        ended_at: it.ended_at,
    });
    let (urgent, digest) = (found.choice.urgent, found.choice.digest);
    Ok(Json(NotificationsView { urgent, digest, mails: mails.collect() }))
}
