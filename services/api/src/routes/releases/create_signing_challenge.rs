use actix_web::{HttpResponse, post, web::Data};
use app::{App, releases::ChallengeView};
use domain::schema::{FieldError, Validate};
use serde::Deserialize;
use utoipa::ToSchema;

use super::Subject;
use crate::{
    Problem,
    extract::{Body, Permit, ProjectPath, can},
};

/// What is going to be signed.
#[derive(Debug, Clone, Copy, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Purpose {
    /// Release for backfill.
    BackfillRelease,
}

/// An ask for a challenge.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ChallengeRequest {
    /// What is going to be signed.
    #[expect(dead_code, reason = "there is one purpose; its value is checked by reading it")]
    purpose: Purpose,
    /// On which joints.
    subject: Subject,
}

impl Validate for ChallengeRequest {
    fn faults(&self) -> Vec<FieldError> {
        let faults = self.subject.named().err().unwrap_or_default();
        let inside =
            |it: FieldError| FieldError { pointer: it.pointer.replacen('#', "#/subject", 1), ..it };
        faults.into_iter().map(inside).collect()
    }
}

/// See exactly what is about to be signed.
///
/// The nonce goes into the signature within five minutes. Any fact recorded on one of the joints
/// in between voids it.
#[utoipa::path(
    tag = "releases",
    params(ProjectPath),
    request_body = ChallengeRequest,
    responses((status = 201, body = ChallengeView)),
    security(("bearer" = [])),
)]
#[post("/v1/projects/{project}/signing-challenges")]
pub async fn create_signing_challenge(
    app: Data<App>,
    permit: Permit<can::ReleaseForBackfill>,
    body: Body<ChallengeRequest>,
) -> Result<HttpResponse, Problem> {
    let Permit { actor, project, .. } = permit;
    let named = body.0.subject.named().map_err(Problem::invalid)?;
    let challenge = app::releases::challenge(&app, &actor, &project, &named).await?;
    Ok(HttpResponse::Created().json(challenge))
}
