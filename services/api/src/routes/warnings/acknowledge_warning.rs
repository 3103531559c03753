use actix_web::{
    HttpResponse, post,
    web::{Data, Path},
};
use app::App;
use domain::schema::{FieldError, Validate};
use serde::Deserialize;
use utoipa::ToSchema;

use super::views::{WarningPath, WarningView};
use crate::{
    Problem,
    extract::{Body, Permit, can},
};

/// What is being done about a warning.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AcknowledgementRequest {
    /// In a sentence, for the others.
    #[schema(min_length = 1, max_length = 2000)]
    note: String,
}

impl Validate for AcknowledgementRequest {
    fn faults(&self) -> Vec<FieldError> {
        if !self.note.trim().is_empty() {
            return Vec::new();
        }
        vec![FieldError::new("/note", "REQUIRED", "say in a sentence what is being done")]
    }
}

/// Say that a warning is in hand.
///
/// It stays open until what it warns of has ended; should its severity rise, the acknowledgement is
/// taken back and people hear of it again. The same person's second one changes nothing (200);
/// another person's is refused, as is one of a warning that is over.
#[utoipa::path(
    tag = "warnings",
    params(WarningPath),
    request_body = AcknowledgementRequest,
    responses(
        (status = 201, body = WarningView),
        (status = 200, description = "It was so already.", body = WarningView),
    ),
    security(("bearer" = [])),
)]
#[post("/v1/projects/{project}/warnings/{warning}/acknowledgement")]
pub async fn acknowledge_warning(
    app: Data<App>,
    permit: Permit<can::AcknowledgeWarnings>,
    path: Path<WarningPath>,
    body: Body<AcknowledgementRequest>,
) -> Result<HttpResponse, Problem> {
    let Permit { actor, project, .. } = permit;
    let note = body.0.note;
    let done =
        app::warnings::acknowledge(&app, &actor, &project, path.warning, note.trim()).await?;
    let mut answer = if done.repeated { HttpResponse::Ok() } else { HttpResponse::Created() };
    Ok(answer.json(WarningView::from(done.warning)))
}
