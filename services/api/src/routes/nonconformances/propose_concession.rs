use actix_web::{
    HttpRequest, HttpResponse, post,
    web::{Data, Path},
};
use app::{
    App,
    nonconformances::{ConcessionView, Proposal},
};
use domain::{joints::GateKind, schema::Validate};
use serde::Deserialize;
use utoipa::ToSchema;

use super::NonconformancePath;
use crate::{
    Problem,
    extract::{Body, Client, Permit, can},
    rate,
    routes::releases::SignatureRequest,
};

/// A proposal that something is used as it is.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ConcessionRequest {
    /// Why it can be used as it is.
    #[schema(min_length = 3, max_length = 2000)]
    reason: String,
    /// The gates that are to open for the reasons shown. Empty where only the nonconformance is to
    /// be closed.
    #[schema(max_items = 12)]
    gates: Vec<GateKind>,
    /// The first signature.
    signature: SignatureRequest,
}

impl Validate for ConcessionRequest {}

/// Propose that a joint is used as it is.
///
/// Signed with the nonce of a challenge of the purpose `concession`, shown for the same gates. It is
/// in force when another person has approved it; one of the two is a QA manager, and neither has put
/// the coating on. The gates weld, layers, holiday_test, damage and freshness open by no concession.
#[utoipa::path(
    tag = "quality",
    params(NonconformancePath),
    request_body = ConcessionRequest,
    responses(
        (status = 201, body = ConcessionView),
        (status = 409, body = Problem, description = "Refused with every reason, such as NOT_WAIVABLE"),
    ),
    security(("bearer" = [])),
)]
#[post("/v1/projects/{project}/nonconformances/{nonconformance}/concession")]
pub async fn propose_concession(
    app: Data<App>,
    permit: Permit<can::SignConcessions>,
    path: Path<NonconformancePath>,
    request: HttpRequest,
    client: Client,
    body: Body<ConcessionRequest>,
) -> Result<HttpResponse, Problem> {
    let Permit { actor, project, .. } = permit;
    rate::note_signing(&request, actor.user)?;
    let ConcessionRequest { reason, gates, signature } = body.0;
    let (proposal, signing) = (Proposal { reason, gates }, signature.signing(client.0));
    let id = path.nonconformance;
    let proposed =
        app::nonconformances::propose(&app, &actor, &project, id, &proposal, signing).await?;
    Ok(HttpResponse::Created().json(proposed))
}
