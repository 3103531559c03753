use actix_web::{post, web::Data};
use app::{App, ambient::ItemAnswer};
use domain::schema::{FieldError, Validate};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use utoipa::ToSchema;
use uuid::Uuid;

use crate::{
    Problem,
    extract::{Either, LargeBody, Permit, ProjectPath, can},
    reply::Bulk,
};

/// Most readings in one batch.
const MOST: usize = 500;

/// Readings of any places of the project, in any order.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ReadingBatch {
    /// Each as it is recorded alone.
    #[schema(min_items = 1, max_items = 500, value_type = Vec<Object>)]
    readings: Vec<Value>,
}

impl Validate for ReadingBatch {
    fn faults(&self) -> Vec<FieldError> {
        if self.readings.len() <= MOST {
            return Vec::new();
        }
        let detail = format!("at most {MOST} readings in a batch: send the rest in the next one");
        vec![FieldError::new("/readings", "TOO_MANY", detail)]
    }
}

/// What became of one reading.
#[derive(Debug, Serialize, ToSchema)]
pub struct ReadingItemView {
    /// Its place in the batch, from 0.
    index: usize,
    /// Its id, where one could be read.
    id: Option<Uuid>,
    /// 201 stored, 200 stored before, or the status of the problem.
    status: u16,
    /// Why it was not stored.
    #[serde(skip_serializing_if = "Option::is_none")]
    problem: Option<Problem>,
}

/// Record many readings of the weather.
///
/// Each item is stored or refused on its own, and a repeated item has one effect: send a batch
/// again until every item is 200 or 201.
#[utoipa::path(
    tag = "ambient",
    params(ProjectPath),
    request_body = ReadingBatch,
    responses((status = 207, body = Bulk<ReadingItemView>)),
    security(("bearer" = [])),
)]
#[post("/v1/projects/{project}/ambient/reading-batches")]
pub async fn record_reading_batch(
    app: Data<App>,
    permit: Permit<Either<can::RecordFacts, can::MoveStock>>,
    body: LargeBody<ReadingBatch>,
) -> Result<Bulk<ReadingItemView>, Problem> {
    let Permit { actor, project, .. } = permit;
    let readings = body.0.readings;
    let answers = app::ambient::record_batch(&app, &actor, &project, &readings).await?;
    Ok(Bulk { items: answers.into_iter().map(view).collect() })
}

fn view(answer: ItemAnswer) -> ReadingItemView {
    let ItemAnswer { index, id, result } = answer;
    match result {
        Ok(repeated) => {
            let status = if repeated { 200 } else { 201 };
            ReadingItemView { index, id, status, problem: None }
        }
        Err(error) => {
            let problem = Problem::from(error);
            ReadingItemView { index, id, status: problem.status().as_u16(), problem: Some(problem) }
        }
    }
}
