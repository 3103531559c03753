use actix_web::{HttpResponse, post, web::Data};
use app::{
    App,
    nonconformances::{NonconformanceRecord, Raised},
};
use chrono::{DateTime, Utc};
use domain::{
    ids::{EventId, NonconformanceId},
    joints::{Severity, nonconformance::Scope},
    schema::{FieldError, Validate},
};
use serde::Deserialize;
use units::Kp;
use utoipa::ToSchema;

use crate::{
    Problem,
    extract::{Body, Permit, ProjectPath, can},
};

/// What it is about: one of `joint`, `lot`, `crew` and `stretch`.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SubjectRequest {
    /// Number or id of a joint.
    #[serde(default)]
    #[schema(min_length = 1, max_length = 60)]
    joint: Option<String>,
    /// Code of a lot: the joints that carry it.
    #[serde(default)]
    #[schema(min_length = 1, max_length = 60)]
    lot: Option<String>,
    /// Code of a crew: the joints that carry work of it from `since` on.
    #[serde(default)]
    #[schema(min_length = 1, max_length = 60)]
    crew: Option<String>,
    /// From when on the work of the crew is meant.
    #[serde(default)]
    since: Option<DateTime<Utc>>,
    /// A stretch of the line: the joints in it.
    #[serde(default)]
    stretch: Option<StretchRequest>,
}

/// A stretch of the line, both ends included.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct StretchRequest {
    /// Only the joints of this section.
    #[serde(default)]
    #[schema(min_length = 1, max_length = 60)]
    section: Option<String>,
    /// From, km.
    #[schema(minimum = 0, maximum = 100_000)]
    kp_from_km: f64,
    /// To, km.
    #[schema(minimum = 0, maximum = 100_000)]
    kp_to_km: f64,
}

/// A nonconformance that somebody raises.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NonconformanceRequest {
    /// Made by the client, a UUID of version 7: a repeated send has one effect.
    id: NonconformanceId,
    /// What it is about.
    subject: SubjectRequest,
    /// What does not conform.
    #[schema(min_length = 3, max_length = 2000)]
    nature: String,
    /// How bad it is. From the severity on that the inspection plan says, its joints are blocked.
    severity: Severity,
    /// The facts that show it.
    #[serde(default)]
    #[schema(max_items = 100)]
    evidence: Vec<EventId>,
    /// What was done at once so that it goes no further.
    #[serde(default)]
    #[schema(min_length = 3, max_length = 2000)]
    containment: Option<String>,
}

impl SubjectRequest {
    fn scope(&self) -> Result<Scope, Vec<FieldError>> {
        let one = |code, pointer, detail: &str| vec![FieldError::new(pointer, code, detail)];
        match (&self.joint, &self.lot, &self.crew, &self.stretch) {
            (Some(_), None, None, None) if self.since.is_none() => Ok(Scope::Joint),
            (None, Some(lot), None, None) if self.since.is_none() => Ok(Scope::Lot(lot.clone())),
            (None, None, Some(code), None) => match self.since {
                Some(since) => Ok(Scope::Crew { code: code.clone(), since }),
                None => {
                    let detail = "say from when on the work of the crew is meant";
                    Err(one("REQUIRED", "/subject/since", detail))
                }
            },
            (None, None, None, Some(stretch)) if self.since.is_none() => stretch.scope(),
            _ => {
                let detail = "give one of `joint`, `lot`, `crew` (with `since`) and `stretch`";
                Err(one("ONE_OF", "/subject", detail))
            }
        }
    }
}

impl StretchRequest {
    fn scope(&self) -> Result<Scope, Vec<FieldError>> {
        let mm = |pointer: &str, km: f64| {
            let kp = Kp::from_metres(km * 1000.0).map(Kp::as_millimetres);
            kp.map_err(|error| FieldError::new(pointer, "OUT_OF_RANGE", error.to_string()))
        };
        let from = mm("/subject/stretch/kp_from_km", self.kp_from_km);
        let to = mm("/subject/stretch/kp_to_km", self.kp_to_km);
        match (from, to) {
            (Ok(from_mm), Ok(to_mm)) if from_mm <= to_mm => {
                Ok(Scope::Stretch { section: self.section.clone(), from_mm, to_mm })
            }
            (Ok(_), Ok(_)) => {
                let detail = "a stretch ends where it begins or after that";
                Err(vec![FieldError::new("/subject/stretch/kp_to_km", "OUT_OF_RANGE", detail)])
            }
            (from, to) => Err([from.err(), to.err()].into_iter().flatten().collect()),
        }
    }
}

impl Validate for NonconformanceRequest {
    fn faults(&self) -> Vec<FieldError> {
        self.subject.scope().err().unwrap_or_default()
    }
}

/// Raise a nonconformance: of a joint, a lot, a crew or a stretch of the line.
///
/// While it is open, at a severity that blocks by the inspection plan, the joints it is about are
/// not released for backfill. A release that was given stands; the joint is shown as blocked.
#[utoipa::path(
    tag = "quality",
    params(ProjectPath),
    request_body = NonconformanceRequest,
    responses(
        (status = 201, body = NonconformanceRecord),
        (status = 200, body = NonconformanceRecord, description = "The same was raised before"),
    ),
    security(("bearer" = [])),
)]
#[post("/v1/projects/{project}/nonconformances")]
pub async fn create_nonconformance(
    app: Data<App>,
    permit: Permit<can::RaiseNonconformances>,
    body: Body<NonconformanceRequest>,
) -> Result<HttpResponse, Problem> {
    let Permit { actor, project, .. } = permit;
    let scope = body.0.subject.scope().map_err(Problem::invalid)?;
    let NonconformanceRequest { id, subject, nature, severity, evidence, containment } = body.0;
    let joint = subject.joint;
    let raised = Raised { id, joint, scope, nature, severity, evidence, containment };
    let (record, repeated) = app::nonconformances::raise(&app, &actor, &project, &raised).await?;
    let mut answer = if repeated { HttpResponse::Ok() } else { HttpResponse::Created() };
    Ok(answer.json(record))
}
