use actix_web::{
    get,
    web::{Data, Json},
};
use app::{
    App,
    stock::{BalanceFilter, BalanceView},
};
use serde::Deserialize;
use utoipa::IntoParams;

use crate::{
    Problem,
    extract::{Permit, ProjectPath, Query, can},
    reply::Page,
};

/// Which balances.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct BalanceQuery {
    /// At this place; every location of the project if absent. `supplier`, `joint`, `scrap`,
    /// `adjustment` and `unrecorded` show where stock came from and where it ended.
    location: Option<String>,
    /// Of this material.
    material: Option<String>,
    /// Of this lot.
    lot: Option<String>,
}

/// List what is there, by place and lot; the list comes whole.
#[utoipa::path(
    tag = "stock",
    params(ProjectPath, BalanceQuery),
    responses((status = 200, body = Page<BalanceView>)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/stock/balances")]
pub async fn list_balances(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
    query: Query<BalanceQuery>,
) -> Result<Json<Page<BalanceView>>, Problem> {
    let BalanceQuery { location, material, lot } = query.0;
    let filter = BalanceFilter { location, material, lot };
    let found = app::stock::balances(&app, &permit.project, &filter).await?;
    Ok(Json(Page::whole(found)))
}
