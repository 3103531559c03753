use actix_web::{
    get,
    web::{Data, Json},
};
use app::App;
use serde::Serialize;
use utoipa::ToSchema;

use super::views::UserView;
use crate::{Problem, extract::SignedIn, routes::projects::ProjectView};

/// Who is signed in, and where they are a member.
#[derive(Serialize, ToSchema)]
pub struct MeView {
    /// The user.
    user: UserView,
    /// Their projects, with their role in each.
    memberships: Vec<ProjectView>,
}

/// Read who is signed in.
#[utoipa::path(
    tag = "accounts",
    responses((status = 200, body = MeView)),
    security(("bearer" = [])),
)]
#[get("/v1/me")]
pub async fn get_me(app: Data<App>, signed_in: SignedIn) -> Result<Json<MeView>, Problem> {
    let projects = app::projects::list(&app, &signed_in.actor).await?;
    let memberships = projects.into_iter().map(ProjectView::from).collect();
    let actor = signed_in.actor;
    let user = UserView {
        id: actor.user,
        email: actor.email,
        name: actor.name,
        is_administrator: actor.is_administrator,
    };
    Ok(Json(MeView { user, memberships }))
}
