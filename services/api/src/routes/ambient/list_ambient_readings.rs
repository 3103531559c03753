use actix_web::{
    get,
    web::{Data, Json},
};
use app::{
    App,
    ambient::{ReadingFilter, ReadingView},
};
use chrono::{DateTime, Utc};
use serde::Deserialize;
use utoipa::IntoParams;

use crate::{
    Problem,
    extract::{Permit, ProjectPath, Query, can, clamp},
    reply::{Page, position},
};

/// Which readings.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct ReadingQuery {
    /// Read at this spread.
    spread: Option<String>,
    /// Read at this location; with `spread` too, those of both.
    location: Option<String>,
    /// Not read before.
    from: Option<DateTime<Utc>>,
    /// Read before.
    to: Option<DateTime<Utc>>,
    /// Also entries that another one takes the place of; yes if absent.
    superseded: Option<bool>,
    /// Most items in the answer; 50 if absent. Less than 1 counts as 1, more than 500 as 500.
    limit: Option<u32>,
    /// `next` of the page before.
    cursor: Option<String>,
}

/// List the readings of the weather, the newest read first.
#[utoipa::path(
    tag = "ambient",
    params(ProjectPath, ReadingQuery),
    responses((status = 200, body = Page<ReadingView>)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/ambient/readings")]
pub async fn list_ambient_readings(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
    query: Query<ReadingQuery>,
) -> Result<Json<Page<ReadingView>>, Problem> {
    let query = query.0;
    let limit = clamp(query.limit);
    let filter = ReadingFilter {
        spread: query.spread,
        location: query.location,
        from: query.from,
        to: query.to,
        with_superseded: query.superseded.unwrap_or(true),
        after: query.cursor.as_deref().map(position).transpose()?,
    };
    let found =
        app::ambient::list_readings(&app, &permit.project, filter, i64::from(limit) + 1).await?;
    Ok(Json(Page::cut(found, limit, |last| (last.read_at, last.id))))
}
