use actix_web::{
    post,
    web::{Data, Path},
};
use app::App;
use chrono::NaiveDate;
use domain::{
    schema::Validate,
    setup::{Extend, Lot},
};
use serde::Deserialize;
use utoipa::ToSchema;

use crate::{
    Problem,
    extract::{Body, ItemPath, Permit, can},
    reply::Versioned,
};

/// A longer shelf life.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ExtensionRequest {
    /// Last day it may be used, in the project's time zone: later than its last day now.
    expires_on: NaiveDate,
    /// Number of the certificate of the new test.
    #[schema(min_length = 1, max_length = 200)]
    certificate: String,
    /// Why.
    #[schema(min_length = 3, max_length = 2000)]
    reason: String,
}

impl Validate for ExtensionRequest {}

/// Extend the shelf life of a lot after a new test, with its certificate.
///
/// It holds from now on: what was used after its last day and before this approval stays expired.
/// The lot must not be in quarantine. Whether a material may be extended at all is for its maker
/// or a laboratory to say.
#[utoipa::path(
    tag = "stock",
    params(ItemPath),
    request_body = ExtensionRequest,
    responses((status = 200, body = Versioned<Lot>)),
    security(("bearer" = [])),
)]
#[post("/v1/projects/{project}/stock/lots/{code}/extension")]
pub async fn extend_lot(
    app: Data<App>,
    permit: Permit<can::ManageQuality>,
    path: Path<ItemPath>,
    body: Body<ExtensionRequest>,
) -> Result<Versioned<Lot>, Problem> {
    let Permit { actor, project, .. } = &permit;
    let ExtensionRequest { expires_on, certificate, reason } = body.0;
    let order = Extend { expires_on, certificate, reason };
    let lot = app::lots::extend(&app, actor, project, &path.code, &order).await?;
    Ok(Versioned::new(lot.item, lot.version))
}
