use actix_web::{
    get,
    web::{Data, Json},
};
use app::{
    App,
    stock::{MovementFilter, MovementView},
};
use domain::{ids::DeliveryId, stock::MovementKind};
use serde::Deserialize;
use utoipa::IntoParams;

use crate::{
    Problem,
    extract::{Permit, ProjectPath, Query, can, clamp},
    reply::{Page, position},
};

/// Which movements.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct MovementQuery {
    /// From or to this place.
    location: Option<String>,
    /// Of this material.
    material: Option<String>,
    /// Of this lot.
    lot: Option<String>,
    /// Of this kind.
    #[param(inline)]
    kind: Option<MovementKind>,
    /// Onto this joint, by number or id.
    joint: Option<String>,
    /// With this delivery.
    #[param(value_type = Option<uuid::Uuid>)]
    delivery_id: Option<DeliveryId>,
    /// Most items in the answer; 50 if absent. Less than 1 counts as 1, more than 500 as 500.
    limit: Option<u32>,
    /// `next` of the page before.
    cursor: Option<String>,
}

/// List the movements of stock, the newest recorded first.
#[utoipa::path(
    tag = "stock",
    params(ProjectPath, MovementQuery),
    responses((status = 200, body = Page<MovementView>)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/stock/movements")]
pub async fn list_movements(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
    query: Query<MovementQuery>,
) -> Result<Json<Page<MovementView>>, Problem> {
    let query = query.0;
    let limit = clamp(query.limit);
    let filter = MovementFilter {
        location: query.location,
        material: query.material,
        lot: query.lot,
        kind: query.kind,
        joint: query.joint,
        delivery: query.delivery_id,
        before: query.cursor.as_deref().map(position).transpose()?,
    };
    let found = app::stock::list(&app, &permit.project, filter, i64::from(limit) + 1).await?;
    Ok(Json(Page::cut(found, limit, |last| last.seq)))
}
