use actix_web::{
    Either, post,
    web::{Data, Json},
};
use app::{
    App,
    stock::{CountAsk, CountView, CountedLot},
};
use chrono::{DateTime, Utc};
use domain::{
    ids::CountId,
    schema::{FieldError, Validate},
    stock::{Quantity, QuantityError, decimal},
};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    Problem,
    extract::{Body, Permit, ProjectPath, can},
    reply::{Created, segment},
};

/// What was found of one lot.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CountedLotRequest {
    /// Code of the lot.
    lot: String,
    /// How much, base units with at most 3 decimals; 0 if nothing was there.
    #[schema(minimum = 0, maximum = 10_000_000)]
    quantity: f64,
}

/// A count.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CountRequest {
    /// Made by the client (UUIDv7): the same again is the same count.
    id: CountId,
    /// Code of the location.
    location: String,
    /// When it was counted.
    counted_at: DateTime<Utc>,
    /// What was found; a lot that is not named was not counted.
    #[schema(min_items = 1, max_items = 500)]
    lines: Vec<CountedLotRequest>,
}

impl Validate for CountRequest {
    fn faults(&self) -> Vec<FieldError> {
        let wrong = self.lines.iter().enumerate().filter_map(|(index, line)| {
            let error = match Quantity::from_number(line.quantity) {
                Err(QuantityError::NotPositive) if line.quantity == 0.0 => return None,
                read => read.err()?,
            };
            let pointer = format!("/lines/{index}/quantity");
            Some(FieldError::new(&pointer, "OUT_OF_RANGE", error.to_string()))
        });
        wrong.collect()
    }
}

/// Record a count of stock.
///
/// Each lot is judged against the book as it stood when it was counted. What is off by at most
/// 2 % or one base unit, whichever is more, is put right at once (common practice, no source);
/// more than that waits until somebody else approves it.
#[utoipa::path(
    tag = "stock",
    params(ProjectPath),
    request_body = CountRequest,
    responses(
        (status = 201, body = CountView),
        (status = 200, body = CountView, description = "It was recorded already"),
    ),
    security(("bearer" = [])),
)]
#[post("/v1/projects/{project}/stock/counts")]
pub async fn create_count(
    app: Data<App>,
    permit: Permit<can::MoveStock>,
    body: Body<CountRequest>,
) -> Result<Either<Created<CountView>, Json<CountView>>, Problem> {
    let Permit { actor, project, .. } = permit;
    let request = body.0;
    let asked = serde_json::to_value(&request).map_err(|it| Problem::internal(it.to_string()))?;
    let CountRequest { id, location, counted_at, lines } = request;
    let lines = lines.into_iter().map(|line| CountedLot {
        lot: line.lot,
        quantity: decimal(line.quantity).unwrap_or_default(),
    });
    let ask = CountAsk { id, location, counted_at, lines: lines.collect(), asked };
    let (view, repeated) = app::stock::record_count(&app, &actor, &project, &ask).await?;
    if repeated {
        return Ok(Either::Right(Json(view)));
    }
    let at = format!("/v1/projects/{}/stock/counts", segment(&project.code));
    Ok(Either::Left(Created::at(at, view)))
}
