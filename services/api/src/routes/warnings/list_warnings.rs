use actix_web::{
    get,
    web::{Data, Json},
};
use app::App;
use serde::Deserialize;
use store::warnings::WarningFilter;
use utoipa::{IntoParams, ToSchema};

use super::views::WarningView;
use crate::{
    Problem,
    extract::{Permit, ProjectPath, Query, can, clamp},
    reply::{Page, position},
};

/// What became of a warning.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum State {
    /// Holds, in somebody's hand or not.
    #[default]
    Open,
    /// Holds, and somebody has it in hand.
    Acknowledged,
    /// Over.
    Cleared,
    /// Any.
    All,
}

/// Which warnings.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct WarningQuery {
    /// Only those in this state; `open` if absent.
    #[param(inline)]
    state: Option<State>,
    /// Only those of this kind.
    #[param(example = "release_grows_stale")]
    kind: Option<String>,
    /// Only those about this.
    #[param(example = "J-1")]
    subject: Option<String>,
    /// Most items in the answer; 50 if absent. Less than 1 counts as 1, more than 500 as 500.
    limit: Option<u32>,
    /// `next` of the page before.
    cursor: Option<String>,
}

/// List the warnings of a project, newest first.
#[utoipa::path(
    tag = "warnings",
    params(ProjectPath, WarningQuery),
    responses((status = 200, body = Page<WarningView>)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/warnings")]
pub async fn list_warnings(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
    query: Query<WarningQuery>,
) -> Result<Json<Page<WarningView>>, Problem> {
    let query = query.0;
    let limit = clamp(query.limit);
    let state = query.state.unwrap_or_default();
    let filter = WarningFilter {
        cleared: (state != State::All).then_some(state == State::Cleared),
        acknowledged: (state == State::Acknowledged).then_some(true),
        kind: query.kind.as_deref(),
        subject: query.subject.as_deref(),
        before: query.cursor.as_deref().map(position).transpose()?,
        limit: i64::from(limit) + 1,
    };
    let found = app::warnings::list(&app, &permit.project, &filter).await?;
    let page = Page::cut(found, limit, |last| (last.raised_at, last.id));
    Ok(Json(page.map(WarningView::from)))
}
