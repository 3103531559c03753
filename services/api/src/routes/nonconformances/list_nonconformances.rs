use actix_web::{
    get,
    web::{Data, Json},
};
use app::{App, nonconformances::NonconformanceView};
use serde::Deserialize;
use utoipa::{IntoParams, ToSchema};

use crate::{
    Problem,
    extract::{Permit, ProjectPath, Query, can, clamp},
    reply::{Page, position},
};

/// What became of a nonconformance.
#[derive(Debug, Clone, Copy, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Status {
    /// Waits for a decision.
    Open,
    /// Decided and closed.
    Closed,
    /// Later facts took its finding away before anybody decided.
    Lapsed,
}

/// Which nonconformances.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct NonconformanceQuery {
    /// Only those in this state.
    #[param(inline)]
    status: Option<Status>,
    /// Most items in the answer; 50 if absent. Less than 1 counts as 1, more than 500 as 500.
    limit: Option<u32>,
    /// `next` of the page before.
    cursor: Option<String>,
}

/// Nonconformances, newest first.
#[utoipa::path(
    tag = "quality",
    params(ProjectPath, NonconformanceQuery),
    responses((status = 200, body = Page<NonconformanceView>)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/nonconformances")]
pub async fn list_nonconformances(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
    query: Query<NonconformanceQuery>,
) -> Result<Json<Page<NonconformanceView>>, Problem> {
    let query = query.0;
    let status = query.status.map(|status| match status {
        Status::Open => "open",
        Status::Closed => "closed",
        Status::Lapsed => "lapsed",
    });
    let before = query.cursor.as_deref().map(position).transpose()?;
    let limit = clamp(query.limit);
    let one_more = i64::from(limit) + 1;
    let found = app::nonconformances::list(&app, &permit.project, status, before, one_more).await?;
    Ok(Json(Page::cut(found, limit, |last| last.number)))
}
