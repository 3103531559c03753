use actix_web::{
    get,
    web::{Data, Json},
};
use app::{App, stock::ProposalView};
use domain::{schema::FieldError, stock::Quantity};
use serde::Deserialize;
use utoipa::IntoParams;

use crate::{
    Problem,
    extract::{Permit, ProjectPath, Query, can},
};

/// What is wanted.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct ProposalQuery {
    /// Code of the material.
    material: String,
    /// How much, base units.
    quantity: f64,
    /// Code of the location.
    from: String,
}

/// Propose the lots to hand out: what expires first goes first.
///
/// Of lots with the same last day the one received first goes first; lots without a last day go
/// last. Expired and quarantined lots are left out.
#[utoipa::path(
    tag = "stock",
    params(ProjectPath, ProposalQuery),
    responses((status = 200, body = ProposalView)),
    security(("bearer" = [])),
)]
#[get("/v1/projects/{project}/stock/issue-proposal")]
pub async fn get_issue_proposal(
    app: Data<App>,
    permit: Permit<can::ReadProject>,
    query: Query<ProposalQuery>,
) -> Result<Json<ProposalView>, Problem> {
    let ProposalQuery { material, quantity, from } = query.0;
    let quantity = Quantity::from_number(quantity).map_err(|error| {
        Problem::invalid(vec![FieldError::new("/quantity", "OUT_OF_RANGE", error.to_string())])
    })?;
    let proposal = app::stock::propose(&app, &permit.project, (&material, &from), quantity).await?;
    Ok(Json(proposal))
}
