use actix_web::{
    HttpResponse, post,
    web::{Data, Path},
};
use app::{
    App,
    joints::{FactView, JointView},
};
use domain::joints::{Event, Finding, fact};
use serde::Serialize;
use utoipa::ToSchema;

use super::JointPath;
use crate::{
    Problem,
    extract::{Permit, RawBody, can},
};

/// A recorded fact and what follows from it.
#[derive(Debug, Serialize, ToSchema)]
pub struct RecordedView {
    /// The fact as it is stored.
    event: FactView,
    /// The joint after it.
    joint: JointView,
    /// What is wrong with this fact.
    findings: Vec<Finding>,
}

/// Record a fact on a joint.
///
/// Beside `kind` and the fields of the kind, a fact has `id` (UUID version 7, made by the client,
/// so that a repeated send has one effect) and `occurred_at` (RFC 3339 with offset). To correct an
/// earlier entry, name it in `supersedes` and give a `reason`.
///
/// A well-formed fact is always stored; what is wrong with it comes back in `findings`.
#[utoipa::path(
    tag = "joints",
    params(JointPath),
    request_body = Event,
    responses(
        (status = 201, body = RecordedView, description = "Stored"),
        (status = 200, body = RecordedView, description = "The same fact was stored before"),
    ),
    security(("bearer" = [])),
)]
#[post("/v1/projects/{project}/joints/{joint}/events")]
pub async fn record_event(
    app: Data<App>,
    permit: Permit<can::RecordFacts>,
    path: Path<JointPath>,
    body: RawBody,
) -> Result<HttpResponse, Problem> {
    let Permit { actor, project, .. } = permit;
    let fact = fact::parse(&body.0).map_err(Problem::invalid)?;
    let recorded = app::joints::record(&app, &actor, &project, &path.joint, fact).await?;
    let view = RecordedView {
        event: FactView::new(&recorded.record, recorded.late, None),
        joint: JointView::from(&recorded.judged),
        findings: recorded.findings,
    };
    let mut answer = if recorded.repeated { HttpResponse::Ok() } else { HttpResponse::Created() };
    Ok(answer.json(view))
}
