use actix_web::{
    post,
    web::{Data, Json, Path},
};
use app::{
    App,
    nonconformances::{Decision, Disposition, NonconformanceView},
};
use domain::{ids::EventId, schema::Validate};
use serde::Deserialize;
use utoipa::ToSchema;

use super::NonconformancePath;
use crate::{
    Problem,
    extract::{Body, Permit, can},
};

/// What was done with what does not conform.
#[derive(Debug, Clone, Copy, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum DispositionKind {
    /// Made fit for use.
    Repair,
    /// Made as it should have been.
    Rework,
    /// Taken out.
    Reject,
}

/// A decision that closes a nonconformance.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DispositionRequest {
    /// What was done.
    disposition: DispositionKind,
    /// The fact that proves it: on the same joint, recorded after the nonconformance was opened.
    /// Left out where it is of a lot, a crew or a stretch: that needs an entry of verification.
    #[serde(default)]
    closing_event: Option<EventId>,
    /// Why that settles it.
    #[schema(min_length = 3, max_length = 2000)]
    note: String,
    /// The version that was seen.
    #[schema(minimum = 1)]
    version: i64,
}

impl Validate for DispositionRequest {}

/// Decide on a nonconformance and close it.
///
/// A contradicted release is settled only when the joint has a valid holiday test again.
/// Use as is under concession takes two people: it is proposed and approved instead.
#[utoipa::path(
    tag = "quality",
    params(NonconformancePath),
    request_body = DispositionRequest,
    responses((status = 200, body = NonconformanceView)),
    security(("bearer" = [])),
)]
#[post("/v1/projects/{project}/nonconformances/{nonconformance}/disposition")]
pub async fn record_disposition(
    app: Data<App>,
    permit: Permit<can::ManageNonconformances>,
    path: Path<NonconformancePath>,
    body: Body<DispositionRequest>,
) -> Result<Json<NonconformanceView>, Problem> {
    let Permit { actor, project, .. } = permit;
    let DispositionRequest { disposition, closing_event, note, version } = body.0;
    let disposition = match disposition {
        DispositionKind::Repair => Disposition::Repair,
        DispositionKind::Rework => Disposition::Rework,
        DispositionKind::Reject => Disposition::Reject,
    };
    let decision = Decision { disposition, closing_event, note };
    let seen = (path.nonconformance, version);
    let closed = app::nonconformances::dispose(&app, &actor, &project, seen, &decision).await?;
    Ok(Json(closed))
}
