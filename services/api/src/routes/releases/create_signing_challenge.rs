use actix_web::{HttpResponse, post, web::Data};
use app::{App, releases::ChallengeView};
use domain::{
    access::Permission,
    ids::NonconformanceId,
    joints::GateKind,
    schema::{FieldError, Validate},
};
use serde::Deserialize;
use utoipa::ToSchema;

use super::{KpField, Subject};
use crate::{
    Problem,
    extract::{Body, Either, Permit, ProjectPath, can},
};

/// What is going to be signed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Purpose {
    /// Release for backfill.
    BackfillRelease,
    /// Use as is under concession: a proposal, or the approval of one.
    Concession,
}

/// On what: joints or a stretch for a release, a nonconformance for a concession.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ChallengeSubject {
    /// Numbers or ids of joints to release.
    #[serde(default)]
    #[schema(min_items = 1, max_items = 2000)]
    joints: Option<Vec<String>>,
    /// From this kilometre point: kilometres as a number, or `12+345`.
    #[serde(default)]
    #[schema(value_type = Option<KpField>)]
    kp_from: Option<serde_json::Value>,
    /// Up to this kilometre point.
    #[serde(default)]
    #[schema(value_type = Option<KpField>)]
    kp_to: Option<serde_json::Value>,
    /// Only joints of this section.
    #[serde(default)]
    section: Option<String>,
    /// The nonconformance of a concession.
    #[serde(default)]
    nonconformance: Option<NonconformanceId>,
    /// The gates that the concession opens; those of the newest proposal if absent.
    #[serde(default)]
    #[schema(max_items = 12)]
    gates: Option<Vec<GateKind>>,
}

impl ChallengeSubject {
    fn release(&self) -> Subject {
        Subject {
            joints: self.joints.clone(),
            kp_from: self.kp_from.clone(),
            kp_to: self.kp_to.clone(),
            section: self.section.clone(),
        }
    }

    fn names_joints(&self) -> bool {
        let stretch = self.kp_from.is_some() || self.kp_to.is_some() || self.section.is_some();
        self.joints.is_some() || stretch
    }
}

/// An ask for a challenge.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ChallengeRequest {
    /// What is going to be signed.
    purpose: Purpose,
    /// On what.
    subject: ChallengeSubject,
}

impl Validate for ChallengeRequest {
    fn faults(&self) -> Vec<FieldError> {
        let subject = &self.subject;
        let faults = match self.purpose {
            Purpose::BackfillRelease if subject.nonconformance.is_some() => {
                let detail = "a release is of joints: leave `nonconformance` out";
                vec![FieldError::new("/nonconformance", "ONE_OF", detail)]
            }
            Purpose::BackfillRelease if subject.gates.is_some() => {
                let detail = "a release opens no gates: leave `gates` out";
                vec![FieldError::new("/gates", "ONE_OF", detail)]
            }
            Purpose::BackfillRelease => subject.release().named().err().unwrap_or_default(),
            Purpose::Concession if subject.nonconformance.is_none() => {
                let detail = "a concession is of a nonconformance: give its id";
                vec![FieldError::new("/nonconformance", "REQUIRED", detail)]
            }
            Purpose::Concession if subject.names_joints() => {
                let detail =
                    "the nonconformance says the joint: give `nonconformance` and `gates` alone";
                vec![FieldError::new("/joints", "ONE_OF", detail)]
            }
            Purpose::Concession => Vec::new(),
        };
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
    permit: Permit<Either<can::ReleaseForBackfill, can::SignConcessions>>,
    body: Body<ChallengeRequest>,
) -> Result<HttpResponse, Problem> {
    let Permit { actor, project, .. } = permit;
    let ChallengeRequest { purpose, subject } = body.0;
    let challenge = match (purpose, subject.nonconformance) {
        (Purpose::Concession, Some(id)) => {
            project.require(Permission::SignConcessions)?;
            let gates = subject.gates.as_deref();
            app::nonconformances::challenge_concession(&app, &actor, &project, id, gates).await?
        }
        _ => {
            project.require(Permission::ReleaseForBackfill)?;
            let named = subject.release().named().map_err(Problem::invalid)?;
            app::releases::challenge(&app, &actor, &project, &named).await?
        }
    };
    Ok(HttpResponse::Created().json(challenge))
}
