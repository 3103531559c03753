use actix_web::{HttpRequest, HttpResponse, Responder, post, web::Data};
use app::{
    App, AppError,
    accounts::Origin,
    releases::{Ask, JointAnswer, Named},
};
use domain::schema::{FieldError, Validate};
use serde::Deserialize;
use utoipa::{IntoParams, ToSchema};

use super::{SignatureRequest, Subject};
use crate::{
    Problem,
    extract::{Body, Client, Permit, ProjectPath, Query, can},
    rate,
    reply::Bulk,
};

/// An ask for release.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ReleaseRequest {
    /// Numbers or ids.
    #[serde(default)]
    #[schema(min_items = 1, max_items = 2000)]
    joints: Option<Vec<String>>,
    /// From this kilometre point: kilometres as a number, or `12+345`.
    #[serde(default)]
    #[schema(value_type = Option<super::KpField>)]
    kp_from: Option<serde_json::Value>,
    /// Up to this kilometre point.
    #[serde(default)]
    #[schema(value_type = Option<super::KpField>)]
    kp_to: Option<serde_json::Value>,
    /// Only those of this section.
    #[serde(default)]
    section: Option<String>,
    /// Needed unless nothing is to be released.
    #[serde(default)]
    signature: Option<SignatureRequest>,
}

impl ReleaseRequest {
    fn subject(&self) -> Subject {
        Subject {
            joints: self.joints.clone(),
            kp_from: self.kp_from.clone(),
            kp_to: self.kp_to.clone(),
            section: self.section.clone(),
        }
    }
}

impl Validate for ReleaseRequest {
    fn faults(&self) -> Vec<FieldError> {
        self.subject().named().err().unwrap_or_default()
    }
}

/// Whether to release.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct ReleaseQuery {
    /// Only say what would be decided; takes no signature.
    #[serde(default)]
    validate_only: bool,
}

/// Release joints for backfill.
///
/// One joint: 201, or 409 with every reason. Several, or a stretch: 207 with the answer for each.
/// A release is signed: the nonce of a challenge, the password, and a meaning.
#[utoipa::path(
    tag = "releases",
    params(ProjectPath, ReleaseQuery),
    request_body = ReleaseRequest,
    responses(
        (status = 201, body = JointAnswer, description = "The one joint is released"),
        (status = 200, body = JointAnswer, description = "Dry run, or released before"),
        (status = 207, body = Bulk<JointAnswer>, description = "The answer for each joint"),
        (status = 409, body = Problem, description = "The one joint is refused: RELEASE_REFUSED"),
    ),
    security(("bearer" = [])),
)]
#[post("/v1/projects/{project}/backfill-releases")]
pub async fn create_backfill_release(
    app: Data<App>,
    permit: Permit<can::ReleaseForBackfill>,
    query: Query<ReleaseQuery>,
    request: HttpRequest,
    client: Client,
    body: Body<ReleaseRequest>,
) -> Result<HttpResponse, Problem> {
    let Permit { actor, project, .. } = permit;
    let named = body.0.subject().named().map_err(Problem::invalid)?;
    let single = named.is_single();
    let answers = if query.0.validate_only {
        app::releases::dry_run(&app, &actor, &project, &named).await?
    } else {
        rate::note_signing(&request, actor.user)?;
        let ask = ask(named, body.0.signature, client.0)?;
        app::releases::give(&app, &actor, &project, ask).await?
    };
    if single { one(answers) } else { Ok(Bulk { items: answers }.respond_to(&request)) }
}

fn ask(named: Named, signature: Option<SignatureRequest>, origin: Origin) -> Result<Ask, Problem> {
    let Some(signature) = signature else {
        let detail = "a release is signed: give `nonce`, `password` and `meaning`, or ask with \
                      `?validate_only=true`";
        return Err(Problem::invalid(vec![FieldError::new("/signature", "REQUIRED", detail)]));
    };
    Ok(Ask { named, signing: signature.signing(origin) })
}

fn one(answers: Vec<JointAnswer>) -> Result<HttpResponse, Problem> {
    let answer = answers.into_iter().next();
    let answer = answer.ok_or_else(|| Problem::internal("a release without an answer"))?;
    match answer.status {
        "refused" => {
            let count = answer.blocking_conditions.len();
            let joint = &answer.joint;
            Err(Problem::from(AppError::Refused {
                code: "RELEASE_REFUSED",
                detail: format!("joint {joint} cannot be released for {count} reason(s)"),
                blocking: serde_json::to_value(&answer.blocking_conditions).unwrap_or_default(),
            }))
        }
        "released" => Ok(HttpResponse::Created().json(answer)),
        _ => Ok(HttpResponse::Ok().json(answer)),
    }
}
