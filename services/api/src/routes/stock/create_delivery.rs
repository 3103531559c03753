use actix_web::{HttpRequest, post, web::Data};
use app::{
    App,
    stock::{DeliveryAsk, DeliveryView},
};
use chrono::NaiveDate;
use domain::{ids::DeliveryId, schema::Validate, stock::Quantity};
use serde::Deserialize;
use utoipa::ToSchema;

use crate::{
    Problem,
    extract::{Body, Permit, ProjectPath, can},
    reply::Versioned,
};

/// A delivery that is expected.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DeliveryRequest {
    /// Made by the client (UUIDv7): the same again is the same delivery.
    id: DeliveryId,
    /// Code of the material.
    material: String,
    /// How much, base units.
    quantity: Quantity,
    /// The day it is expected.
    expected_on: NaiveDate,
    /// The day it was ordered.
    #[serde(default)]
    ordered_on: Option<NaiveDate>,
    /// From whom.
    #[serde(default)]
    #[schema(min_length = 1, max_length = 200)]
    supplier: Option<String>,
}

impl Validate for DeliveryRequest {}

/// Announce a delivery.
#[utoipa::path(
    tag = "stock",
    params(ProjectPath),
    request_body = DeliveryRequest,
    responses(
        (status = 201, body = Versioned<DeliveryView>),
        (status = 200, body = Versioned<DeliveryView>, description = "It was announced already"),
    ),
    security(("bearer" = [])),
)]
#[post("/v1/projects/{project}/stock/deliveries")]
pub async fn create_delivery(
    app: Data<App>,
    permit: Permit<can::ManageMaterials>,
    request: HttpRequest,
    body: Body<DeliveryRequest>,
) -> Result<Versioned<DeliveryView>, Problem> {
    let Permit { actor, project, .. } = permit;
    let DeliveryRequest { id, material, quantity, expected_on, ordered_on, supplier } = body.0;
    let ask = DeliveryAsk { id, material, quantity, expected_on, ordered_on, supplier };
    let (view, repeated) = app::stock::create_delivery(&app, &actor, &project, &ask).await?;
    let version = view.version;
    let answer = Versioned::new(view, version);
    let location = format!("{}/{id}", request.path());
    Ok(if repeated { answer } else { answer.created_at(location) })
}
