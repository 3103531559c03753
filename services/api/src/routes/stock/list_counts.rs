use actix_web::{
    get,
    web::{Data, Json},
};
use app::{App, stock::CountView};
use serde::Deserialize;
use utoipa::IntoParams;

use crate::{
    Problem,
    extract::{Permit, ProjectPath, Query, can, clamp},
    reply::{Page, position},
};

/// Which counts.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct CountQuery {
    /// At this location.
    location: Option<String>,
    /// Most items in the answer; 50 if absent. Less than 1 counts as 1, more than 500 as 500.
    limit: Option<u32>,
    /// `next` of the page before.
    cursor: Option<String>,
}

/// List the counts of stock, the newest recorded first.
#[utoipa::path(
    tag = "stock",
    params(ProjectPath, CountQuery),
    responses((status = 200, body = Page<CountView>)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/stock/counts")]
pub async fn list_counts(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
    query: Query<CountQuery>,
) -> Result<Json<Page<CountView>>, Problem> {
    let CountQuery { location, limit, cursor } = query.0;
    let limit = clamp(limit);
    let before = cursor.as_deref().map(position).transpose()?;
    let one_more = i64::from(limit) + 1;
    let found =
        app::stock::counts(&app, &permit.project, location.as_deref(), before, one_more).await?;
    Ok(Json(Page::cut(found, limit, |last| (last.recorded_at, last.id))))
}
