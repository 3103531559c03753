use actix_web::{
    HttpResponse, post,
    web::{Data, Path},
};
use app::App;
use chrono::{DateTime, Utc};
use domain::{schema::Validate, setup::Hold};
use serde::Deserialize;
use utoipa::ToSchema;
use uuid::Uuid;

use super::get_lot_trace::LotTraceView;
use crate::{
    Problem,
    extract::{Body, ItemPath, Permit, can},
};

/// An order to use a lot no more.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct QuarantineRequest {
    /// Made by the client, a UUID of version 7: a repeated send has one effect.
    id: Option<Uuid>,
    /// Why.
    #[schema(min_length = 3, max_length = 2000)]
    reason: String,
    /// Since when the lot is bad; from now on if absent. Material that is found bad was bad when it
    /// was used, so a recall says a time before its first use.
    from: Option<DateTime<Utc>>,
}

impl Validate for QuarantineRequest {}

/// Put a lot into quarantine, and see at once where it went.
///
/// From `from` on it counts as held: the materials gate of every joint on which it was used since
/// is shut, no joint with it is released any more, and it is not issued. A release that was given
/// stands, for it was right by what was known; where the lot is on released or buried joints, an
/// urgent warning goes out, and a nonconformance opens for each joint on which it was used before
/// it was known to be bad.
///
/// The answer tells the first 500 joints; `next` leads on in the trace of the lot.
#[utoipa::path(
    tag = "stock",
    params(ItemPath),
    request_body = QuarantineRequest,
    responses(
        (status = 201, body = LotTraceView),
        (status = 200, body = LotTraceView, description = "The same order again."),
    ),
    security(("bearer" = [])),
)]
#[post("/v1/projects/{project}/stock/lots/{code}/quarantine")]
pub async fn quarantine_lot(
    app: Data<App>,
    permit: Permit<can::HoldLots>,
    path: Path<ItemPath>,
    body: Body<QuarantineRequest>,
) -> Result<HttpResponse, Problem> {
    let Permit { actor, project, .. } = &permit;
    let QuarantineRequest { id, reason, from } = body.0;
    let order = Hold { id, from, reason };
    let held = app::lots::hold(&app, actor, project, &path.code, &order).await?;
    let mut answer = if held.repeated { HttpResponse::Ok() } else { HttpResponse::Created() };
    Ok(answer.json(LotTraceView::from(held.trace)))
}
