use actix_web::{
    get,
    web::{Data, Json},
};
use app::{
    App,
    stock::{DeliveryFilter, DeliveryStatus, DeliveryView},
};
use serde::Deserialize;
use utoipa::IntoParams;

use crate::{
    Problem,
    extract::{Permit, ProjectPath, Query, can, clamp},
    reply::{Page, position},
};

/// Which deliveries.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct DeliveryQuery {
    /// Of this material.
    material: Option<String>,
    /// That stand so.
    #[param(inline)]
    status: Option<DeliveryStatus>,
    /// Most items in the answer; 50 if absent. Less than 1 counts as 1, more than 500 as 500.
    limit: Option<u32>,
    /// `next` of the page before.
    cursor: Option<String>,
}

/// List the deliveries by the day they are expected.
#[utoipa::path(
    tag = "stock",
    params(ProjectPath, DeliveryQuery),
    responses((status = 200, body = Page<DeliveryView>)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/stock/deliveries")]
pub async fn list_deliveries(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
    query: Query<DeliveryQuery>,
) -> Result<Json<Page<DeliveryView>>, Problem> {
    let DeliveryQuery { material, status, limit, cursor } = query.0;
    let limit = clamp(limit);
    let after = cursor.as_deref().map(position).transpose()?;
    let filter = DeliveryFilter { material, status, after };
    let found =
        app::stock::deliveries(&app, &permit.project, &filter, i64::from(limit) + 1).await?;
    Ok(Json(Page::cut(found, limit, |last| (last.expected_on, last.id))))
}
