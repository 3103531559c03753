use actix_web::{
    put,
    web::{Data, Json, Path},
};
use app::App;
use domain::{access::Role, ids::UserId, schema::Validate};
use serde::Deserialize;
use utoipa::{IntoParams, ToSchema};

use super::views::MemberView;
use crate::{
    Problem,
    extract::{Body, Permit, can},
};

/// A member of a project.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct MemberPath {
    /// Id or code of the project.
    #[expect(dead_code, reason = "the permit reads it")]
    project: String,
    /// Id of the user.
    user: UserId,
}

/// What a member is.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MemberRequest {
    /// Role in the project.
    role: Role,
}

impl Validate for MemberRequest {}

/// Make a user a member, or give a member another role.
#[utoipa::path(
    tag = "projects",
    request_body = MemberRequest,
    responses((status = 200, body = MemberView)),
    security(("bearer" = [])),
)]
#[put("/v1/projects/{project}/members/{user}")]
pub async fn put_member(
    app: Data<App>,
    permit: Permit<can::ManageMembers>,
    path: Path<MemberPath>,
    body: Body<MemberRequest>,
) -> Result<Json<MemberView>, Problem> {
    let Permit { actor, project, .. } = permit;
    let role = body.0.role;
    let member = app::projects::put_member(&app, &actor, &project, path.user, role).await?;
    Ok(Json(member.into()))
}
