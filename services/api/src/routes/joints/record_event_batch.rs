use actix_web::{post, web::Data};
use app::{
    App,
    joints::{BatchItem, ItemAnswer, Outcome},
};
use domain::{
    ids::EventId,
    schema::{FieldError, Validate},
};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use utoipa::ToSchema;

use crate::{
    Problem,
    extract::{LargeBody, Permit, ProjectPath, can},
    reply::Bulk,
};

/// Most facts in one batch.
const MOST: usize = 500;

/// Facts on any joints of the project, in any order.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct EventBatch {
    /// Each a fact with `joint`, the number or id of its joint.
    #[schema(min_items = 1, max_items = 500, value_type = Vec<Object>)]
    events: Vec<Value>,
}

impl Validate for EventBatch {
    fn faults(&self) -> Vec<FieldError> {
        if self.events.len() <= MOST {
            return Vec::new();
        }
        let detail = format!("at most {MOST} events in a batch: send the rest in the next one");
        vec![FieldError::new("/events", "TOO_MANY", detail)]
    }
}

/// What became of one fact.
#[derive(Debug, Serialize, ToSchema)]
pub struct BatchItemView {
    /// Its place in the batch, from 0.
    index: usize,
    /// Its id, where one could be read.
    id: Option<EventId>,
    /// 201 stored, 200 stored before, or the status of the problem.
    status: u16,
    /// Why it was not stored.
    #[serde(skip_serializing_if = "Option::is_none")]
    problem: Option<Problem>,
}

/// Record many facts.
///
/// Each item is stored or refused on its own, and a repeated item has one effect: send a batch
/// again until every item is 200 or 201.
#[utoipa::path(
    tag = "joints",
    params(ProjectPath),
    request_body = EventBatch,
    responses((status = 207, body = Bulk<BatchItemView>)),
    security(("bearer" = [])),
)]
#[post("/v1/projects/{project}/event-batches")]
pub async fn record_event_batch(
    app: Data<App>,
    permit: Permit<can::RecordFacts>,
    body: LargeBody<EventBatch>,
) -> Result<Bulk<BatchItemView>, Problem> {
    let Permit { actor, project, .. } = permit;
    let items = body.0.events.into_iter().map(item).collect();
    let answers = app::joints::record_batch(&app, &actor, &project, items).await?;
    Ok(Bulk { items: answers.into_iter().map(view).collect() })
}

/// Takes the joint out of a fact, so that only the fact is left to be read.
fn item(mut fact: Value) -> BatchItem {
    let joint = fact.as_object_mut().and_then(|fields| fields.remove("joint"));
    BatchItem { joint: joint.and_then(|it| it.as_str().map(str::to_owned)), fact }
}

fn view(answer: ItemAnswer) -> BatchItemView {
    let ItemAnswer { index, id, result } = answer;
    match result {
        Ok(Outcome::New(_)) => BatchItemView { index, id, status: 201, problem: None },
        Ok(_) => BatchItemView { index, id, status: 200, problem: None },
        Err(error) => {
            let problem = Problem::from(error);
            BatchItemView { index, id, status: problem.status().as_u16(), problem: Some(problem) }
        }
    }
}
