use actix_web::{
    put,
    web::{Data, Path},
};
use app::{
    App,
    stock::{DeliveryAsk, DeliveryChange, DeliveryStatus, DeliveryView},
};
use chrono::NaiveDate;
use domain::{ids::DeliveryId, schema::Validate, stock::Quantity};
use serde::Deserialize;
use utoipa::{IntoParams, ToSchema};

use crate::{
    Problem,
    extract::{Body, IfMatch, Permit, can},
    reply::Versioned,
};

/// A delivery in a project.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct DeliveryPath {
    /// Id or code of the project.
    #[serde(rename = "project")]
    #[param(rename = "project")]
    _project: String,
    /// Id of the delivery.
    id: String,
}

/// What a delivery is to be from now on.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DeliveryChangeRequest {
    /// Code of the material.
    material: String,
    /// How much in all, base units.
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
    /// How it stands; `received` if nothing more is to come.
    status: DeliveryStatus,
}

impl Validate for DeliveryChangeRequest {}

/// Change a delivery: its day, its quantity, or that it will not come.
#[utoipa::path(
    tag = "stock",
    params(
        DeliveryPath,
        ("If-Match" = String, Header, description = "ETag, such as `\"v17\"`"),
    ),
    request_body = DeliveryChangeRequest,
    responses((status = 200, body = Versioned<DeliveryView>)),
    security(("bearer" = [])),
)]
#[put("/v1/projects/{project}/stock/deliveries/{id}")]
pub async fn put_delivery(
    app: Data<App>,
    permit: Permit<can::ManageMaterials>,
    path: Path<DeliveryPath>,
    seen: IfMatch,
    body: Body<DeliveryChangeRequest>,
) -> Result<Versioned<DeliveryView>, Problem> {
    let Permit { actor, project, .. } = permit;
    // What is no id names no delivery.
    let id: DeliveryId =
        path.id.parse().map_err(|_| Problem::not_found(&format!("delivery {}", path.id)))?;
    let version = seen.required()?;
    let DeliveryChangeRequest { material, quantity, expected_on, ordered_on, supplier, status } =
        body.0;
    let ask = DeliveryAsk { id, material, quantity, expected_on, ordered_on, supplier };
    let change = DeliveryChange { ask, status };
    let view = app::stock::change_delivery(&app, &actor, &project, &change, version).await?;
    let version = view.version;
    Ok(Versioned::new(view, version))
}
