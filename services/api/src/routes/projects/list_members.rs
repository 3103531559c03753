use actix_web::{
    get,
    web::{Data, Json},
};
use app::App;

use super::views::MemberView;
use crate::{
    Problem,
    extract::{Permit, ProjectPath, can},
    reply::{Page, Versioned},
};

/// List the members of a project.
#[utoipa::path(
    tag = "projects",
    params(ProjectPath),
    responses((status = 200, body = Page<Versioned<MemberView>>)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/members")]
pub async fn list_members(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
) -> Result<Json<Page<Versioned<MemberView>>>, Problem> {
    let Permit { actor, project, .. } = permit;
    let members = app::projects::members_list(&app, &actor, &project).await?;
    Ok(Json(Page::whole(members).map(MemberView::versioned)))
}
