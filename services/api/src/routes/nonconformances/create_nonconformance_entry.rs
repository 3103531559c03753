use actix_web::{
    HttpResponse, post,
    web::{Data, Path},
};
use app::{
    App,
    nonconformances::{EntryKind, NonconformanceRecord},
};
use domain::schema::Validate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::NonconformancePath;
use crate::{
    Problem,
    extract::{Body, Permit, can},
};

/// What an entry says.
#[derive(Debug, Clone, Copy, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum EntryKindRequest {
    /// What was done so that it goes no further.
    Containment,
    /// Why it came about.
    RootCause,
    /// What was done about that.
    Action,
    /// That what was done has worked, and how that was seen.
    Verification,
}

/// An entry.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct EntryRequest {
    /// What it says.
    kind: EntryKindRequest,
    /// The words.
    #[schema(min_length = 3, max_length = 4000)]
    text: String,
}

impl Validate for EntryRequest {}

/// Write on a nonconformance: containment, root cause, action or verification.
///
/// Nothing that was written is changed; who wrote it, and when, stands beside it.
#[utoipa::path(
    tag = "quality",
    params(NonconformancePath),
    request_body = EntryRequest,
    responses((status = 201, body = NonconformanceRecord)),
    security(("bearer" = [])),
)]
#[post("/v1/projects/{project}/nonconformances/{nonconformance}/entries")]
pub async fn create_nonconformance_entry(
    app: Data<App>,
    permit: Permit<can::RaiseNonconformances>,
    path: Path<NonconformancePath>,
    body: Body<EntryRequest>,
) -> Result<HttpResponse, Problem> {
    let Permit { actor, project, .. } = permit;
    let kind = match body.0.kind {
        EntryKindRequest::Containment => EntryKind::Containment,
        EntryKindRequest::RootCause => EntryKind::RootCause,
        EntryKindRequest::Action => EntryKind::Action,
        EntryKindRequest::Verification => EntryKind::Verification,
    };
    let (id, said) = (path.nonconformance, (kind, body.0.text));
    let record = app::nonconformances::write_on(&app, &actor, &project, id, said).await?;
    Ok(HttpResponse::Created().json(record))
}
