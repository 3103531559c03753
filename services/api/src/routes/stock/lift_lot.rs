use actix_web::{
    post,
    web::{Data, Path},
};
use app::App;
use domain::{
    schema::Validate,
    setup::{Lift, Lot},
};
use serde::Deserialize;
use utoipa::ToSchema;

use crate::{
    Problem,
    extract::{Body, ItemPath, Permit, can},
    reply::Versioned,
};

/// The end of a quarantine.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LiftRequest {
    /// Why.
    #[schema(min_length = 3, max_length = 2000)]
    reason: String,
    /// The suspicion was wrong: the lot counts as never held, and what its recall opened and nobody
    /// has decided on lapses. Otherwise it counts as held until now.
    #[serde(default)]
    unfounded: bool,
}

impl Validate for LiftRequest {}

/// Lift the quarantine of a lot.
#[utoipa::path(
    tag = "stock",
    params(ItemPath),
    request_body = LiftRequest,
    responses((status = 200, body = Versioned<Lot>)),
    security(("bearer" = [])),
)]
#[post("/v1/projects/{project}/stock/lots/{code}/lift")]
pub async fn lift_lot(
    app: Data<App>,
    permit: Permit<can::ManageQuality>,
    path: Path<ItemPath>,
    body: Body<LiftRequest>,
) -> Result<Versioned<Lot>, Problem> {
    let Permit { actor, project, .. } = &permit;
    let LiftRequest { reason, unfounded } = body.0;
    let order = Lift { reason, unfounded };
    let lot = app::lots::lift(&app, actor, project, &path.code, &order).await?;
    Ok(Versioned::new(lot.item, lot.version))
}
