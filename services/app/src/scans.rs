//! Scanned labels.

use domain::{
    schema::FieldError,
    stock::gs1::{self, Label, Receipt, ScanFault},
};
use serde::Serialize;
use utoipa::ToSchema;

use crate::{App, AppError, projects::ProjectEntry, setup};

/// What a label says, and what it means for the project.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct ScanReading {
    /// What was read.
    pub fields: Label,
    /// What it means here.
    #[serde(flatten)]
    pub receipt: Receipt,
}

/// Reads a scanned label; creates nothing.
pub async fn parse(app: &App, project: &ProjectEntry, scan: &str) -> Result<ScanReading, AppError> {
    let mut conn = app.begin_in(project.id).await?;
    let setup = setup::snapshot_at(app, &mut conn, project.id, project.setup_version).await?;
    let today = setup.day(app.clock.now());
    let fields = gs1::parse(scan, today)
        .map_err(|faults| AppError::Invalid(faults.iter().map(as_field_error).collect()))?;
    let receipt = gs1::receipt(&setup, &fields, today);
    Ok(ScanReading { fields, receipt })
}

fn as_field_error(fault: &ScanFault) -> FieldError {
    FieldError::new("/scan", fault.code.name(), fault.to_string())
}
