use actix_web::{
    get,
    web::{Data, Json, Path},
};
use app::{
    App,
    lots::{LotPlaces, LotStock, LotTrace, TracePage, TracedJoint},
};
use chrono::NaiveDate;
use domain::{joints::Stage, setup::Quarantine};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use crate::{
    Problem,
    extract::{ItemPath, Permit, Query, can, clamp},
    reply::{cursor, position},
};

/// Which joints of the lot.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct TraceQuery {
    /// Only those in this stage: `backfilled` are under the soil.
    #[param(inline)]
    stage: Option<Stage>,
    /// Most joints in the answer; 50 if absent. Less than 1 counts as 1, more than 500 as 500.
    limit: Option<u32>,
    /// `next` of the page before.
    cursor: Option<String>,
}

/// A lot and where it went.
#[derive(Debug, Serialize, ToSchema)]
pub struct LotTraceView {
    /// Lot code.
    lot: String,
    /// Code of its material; null where facts name a lot that is not set up.
    material: Option<String>,
    /// Last day it may be used as printed on it.
    expires_on: Option<NaiveDate>,
    /// The quarantine in force.
    quarantine: Option<Quarantine>,
    /// Where the rest of it is.
    stock: Vec<LotStock>,
    /// Every joint it was used on, whatever the page.
    summary: LotPlaces,
    /// Of these the ones on which it was used while in quarantine.
    used_in_quarantine: LotPlaces,
    /// Joints in the order of the line.
    items: Vec<TracedJoint>,
    /// Send it as `cursor` to read on; null at the end.
    #[schema(required)]
    next: Option<String>,
}

impl From<LotTrace> for LotTraceView {
    fn from(trace: LotTrace) -> Self {
        Self {
            lot: trace.lot,
            material: trace.material,
            expires_on: trace.expires_on,
            quarantine: trace.quarantine,
            stock: trace.stock,
            summary: trace.summary,
            used_in_quarantine: trace.used_in_quarantine,
            items: trace.joints,
            next: trace.next.as_ref().map(cursor),
        }
    }
}

/// Where a lot went: every joint on which a fact that counts names it.
///
/// The sums are over all joints, also where only a page of them is shown.
#[utoipa::path(
    tag = "stock",
    params(ItemPath, TraceQuery),
    responses((status = 200, body = LotTraceView)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/stock/lots/{code}/trace")]
pub async fn get_lot_trace(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
    path: Path<ItemPath>,
    query: Query<TraceQuery>,
) -> Result<Json<LotTraceView>, Problem> {
    let page = TracePage {
        stage: query.0.stage,
        after: query.0.cursor.as_deref().map(position).transpose()?,
        limit: i64::from(clamp(query.0.limit)),
    };
    let trace = app::lots::trace(&app, &permit.project, &path.code, page).await?;
    Ok(Json(trace.into()))
}
