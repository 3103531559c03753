use actix_web::{
    HttpResponse, delete,
    web::{Data, Path},
};
use app::App;

use super::put_member::MemberPath;
use crate::{
    Problem,
    extract::{IfMatch, Permit, can},
};

/// Take the project away from a member.
///
/// What they recorded and signed stays.
#[utoipa::path(
    tag = "projects",
    params(
        MemberPath,
        ("If-Match" = String, Header, description = "ETag, such as `\"v17\"`"),
    ),
    responses((status = 204, description = "They are no member any more")),
    security(("bearer" = [])),
)]
#[delete("/v1/projects/{project}/members/{user}")]
pub async fn remove_member(
    app: Data<App>,
    permit: Permit<can::ManageMembers>,
    path: Path<MemberPath>,
    seen: IfMatch,
) -> Result<HttpResponse, Problem> {
    let Permit { actor, project, .. } = permit;
    let seen = seen.required()?;
    app::projects::remove_member(&app, &actor, &project, path.user, seen).await?;
    Ok(HttpResponse::NoContent().finish())
}
