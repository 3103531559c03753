use actix_web::{
    HttpRequest, put,
    web::{Data, Path},
};
use app::App;
use domain::{access::Role, ids::UserId, schema::Validate};
use serde::Deserialize;
use utoipa::{IntoParams, ToSchema};

use super::views::MemberView;
use crate::{
    Problem,
    extract::{Body, IfMatch, Permit, can},
    reply::Versioned,
};

/// A member of a project.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct MemberPath {
    /// Id or code of the project.
    #[expect(dead_code, reason = "the permit reads it")]
    project: String,
    /// Id of the user.
    pub user: UserId,
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
///
/// To give another role, send `If-Match` with the ETag of the member you have seen.
#[utoipa::path(
    tag = "projects",
    params(
        MemberPath,
        ("If-Match" = Option<String>, Header, description = "ETag, such as `\"v17\"`"),
    ),
    request_body = MemberRequest,
    responses(
        (status = 200, body = Versioned<MemberView>),
        (status = 201, body = Versioned<MemberView>),
    ),
    security(("bearer" = [])),
)]
#[put("/v1/projects/{project}/members/{user}")]
pub async fn put_member(
    app: Data<App>,
    permit: Permit<can::ManageMembers>,
    request: HttpRequest,
    path: Path<MemberPath>,
    seen: IfMatch,
    body: Body<MemberRequest>,
) -> Result<Versioned<MemberView>, Problem> {
    let Permit { actor, project, .. } = permit;
    let role = body.0.role;
    let put = app::projects::put_member(&app, &actor, &project, path.user, role, seen.0)
        .await
        .map_err(|error| seen.explain(error))?;
    let view = MemberView::versioned(put.member);
    Ok(if put.created { view.created_at(request.path()) } else { view })
}
