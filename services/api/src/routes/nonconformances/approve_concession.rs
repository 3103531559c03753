use actix_web::{
    HttpRequest, HttpResponse, post,
    web::{Data, Path},
};
use app::{App, nonconformances::ConcessionView};
use domain::schema::Validate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::NonconformancePath;
use crate::{
    Problem,
    extract::{Body, Client, Permit, can},
    rate,
    routes::releases::SignatureRequest,
};

/// The second signature of a concession.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ApprovalRequest {
    /// With the nonce of a challenge that showed the proposal.
    signature: SignatureRequest,
}

impl Validate for ApprovalRequest {}

/// Approve the proposed concession of a nonconformance.
///
/// From then on it is in force: the nonconformance is closed as used as it is, and the gates that
/// were named are open for the reasons that were shown and for no other. Any fact recorded on the
/// joint since the proposal voids it.
#[utoipa::path(
    tag = "quality",
    params(NonconformancePath),
    request_body = ApprovalRequest,
    responses(
        (status = 201, body = ConcessionView),
        (status = 409, body = Problem, description = "Refused with every reason, such as SAME_PERSON"),
    ),
    security(("bearer" = [])),
)]
#[post("/v1/projects/{project}/nonconformances/{nonconformance}/concession/approval")]
pub async fn approve_concession(
    app: Data<App>,
    permit: Permit<can::SignConcessions>,
    path: Path<NonconformancePath>,
    request: HttpRequest,
    client: Client,
    body: Body<ApprovalRequest>,
) -> Result<HttpResponse, Problem> {
    let Permit { actor, project, .. } = permit;
    rate::note_signing(&request, actor.user)?;
    let signing = body.0.signature.signing(client.0);
    let id = path.nonconformance;
    let approved = app::nonconformances::approve(&app, &actor, &project, id, signing).await?;
    Ok(HttpResponse::Created().json(approved))
}
