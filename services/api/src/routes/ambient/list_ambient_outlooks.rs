use actix_web::{
    get,
    web::{Data, Json},
};
use app::{App, ambient::IssueView};
use serde::Deserialize;
use utoipa::IntoParams;

use crate::{
    Problem,
    extract::{Permit, ProjectPath, Query, can, clamp},
    reply::{Page, position},
};

/// Which outlooks.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct AmbientOutlookQuery {
    /// Of this spread.
    spread: Option<String>,
    /// Most items in the answer; 50 if absent. Less than 1 counts as 1, more than 500 as 500.
    limit: Option<u32>,
    /// `next` of the page before.
    cursor: Option<String>,
}

/// List the outlooks of the weather, the latest issue first, without their hours.
#[utoipa::path(
    tag = "ambient",
    params(ProjectPath, AmbientOutlookQuery),
    responses((status = 200, body = Page<IssueView>)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/ambient/outlooks")]
pub async fn list_ambient_outlooks(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
    query: Query<AmbientOutlookQuery>,
) -> Result<Json<Page<IssueView>>, Problem> {
    let AmbientOutlookQuery { spread, limit, cursor } = query.0;
    let limit = clamp(limit);
    let after = cursor.as_deref().map(position).transpose()?;
    let most = i64::from(limit) + 1;
    let found = app::ambient::list_outlooks(&app, &permit.project, spread, after, most).await?;
    Ok(Json(Page::cut(found, limit, |last| (last.issued_at, last.id))))
}
