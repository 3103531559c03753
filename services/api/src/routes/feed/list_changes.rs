use actix_web::{
    get,
    web::{Data, Json},
};
use app::{App, feed::Entry};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use utoipa::{IntoParams, ToSchema};

use crate::{
    Problem,
    extract::{Permit, ProjectPath, Query, can, clamp},
};

/// From where.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct ChangesQuery {
    /// The number up to which the caller knows everything; without it the answer has no items and
    /// says where the feed stands.
    #[param(minimum = 0)]
    after: Option<i64>,
    /// Most items in the answer; 50 if absent. Less than 1 counts as 1, more than 500 as 500.
    limit: Option<u32>,
}

/// Something that changed.
#[derive(Debug, Serialize, ToSchema)]
pub struct ChangeView {
    /// One more than that of the change before, in every project from 1 on.
    seq: i64,
    /// What happened. More topics come with time: leave alone those that you do not know.
    #[schema(example = "joint.changed")]
    topic: String,
    /// What it is about, such as the number of a joint.
    #[schema(example = "J-1")]
    subject: String,
    /// When.
    at: DateTime<Utc>,
    /// What is told of it; the rest is read where it is.
    #[schema(value_type = Object)]
    body: Value,
}

impl From<&Entry> for ChangeView {
    fn from(entry: &Entry) -> Self {
        Self {
            seq: entry.seq,
            topic: entry.topic.clone(),
            subject: entry.subject.clone(),
            at: entry.at,
            body: entry.body.clone(),
        }
    }
}

/// A page of changes.
#[derive(Debug, Serialize, ToSchema)]
pub struct ChangesPage {
    /// In their order, without holes.
    items: Vec<ChangeView>,
    /// Send it as `after` to read on, now or later.
    next_after: i64,
    /// Number of the oldest change that is kept.
    oldest: i64,
    /// Number of the newest one.
    head: i64,
}

/// What has changed in a project, in the order in which it became visible.
///
/// Whoever keeps a copy asks first without `after`, reads what the copy is to hold, and then follows
/// from `next_after`; what changed meanwhile comes again and does no harm. Changes are kept 30 days;
/// whoever comes later is told so (410, `FEED_GONE`) and begins again.
#[utoipa::path(
    tag = "feed",
    params(ProjectPath, ChangesQuery),
    responses((status = 200, body = ChangesPage)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/changes")]
pub async fn list_changes(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
    query: Query<ChangesQuery>,
) -> Result<Json<ChangesPage>, Problem> {
    let ChangesQuery { after, limit } = query.0;
    if after.is_some_and(|after| after < 0) {
        let detail = "`after`: it must be 0 or more";
        return Err(Problem::bad_request("INVALID_PARAMETER", detail));
    }
    let page = app::feed::changes(&app, &permit.project, after, clamp(limit)).await?;
    Ok(Json(ChangesPage {
        items: page.items.iter().map(ChangeView::from).collect(),
        next_after: page.next_after,
        oldest: page.kept.oldest,
        head: page.kept.head,
    }))
}
