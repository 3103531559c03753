use actix_web::{
    get,
    web::{Data, Json},
};
use app::App;

use super::ProjectView;
use crate::{Problem, extract::SignedIn, reply::Page};

/// List the projects you are a member of.
#[utoipa::path(
    tag = "projects",
    responses((status = 200, body = Page<ProjectView>)),
    security(("bearer" = [])),
)]
#[get("/v1/projects")]
pub async fn list_projects(
    app: Data<App>,
    signed_in: SignedIn,
) -> Result<Json<Page<ProjectView>>, Problem> {
    let projects = app::projects::list(&app, &signed_in.actor).await?;
    Ok(Json(Page::whole(projects).map(ProjectView::from)))
}
