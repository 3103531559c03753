//! Shows how far an import has come.

use domain::{ids::ImportId, register::RowError};
use store::imports::Import;

use crate::{App, AppError, projects::ProjectEntry};

/// Errors shown.
const SHOWN: i64 = 200;

/// An import and the first of its errors.
#[derive(Debug, Clone)]
pub struct ShownImport {
    /// The import.
    pub import: Import,
    /// In the order of the file.
    pub errors: Vec<RowError>,
}

/// Shows the import `id`.
pub async fn show(
    app: &App,
    project: &ProjectEntry,
    id: ImportId,
) -> Result<ShownImport, AppError> {
    let mut conn = app.begin_in(project.id).await?;
    let import = store::imports::find(&mut conn, project.id, id).await?;
    let import = import.ok_or_else(|| AppError::not_found(format!("import {id}")))?;
    let errors = if import.rows_wrong == 0 {
        Vec::new()
    } else {
        store::imports::errors(&mut conn, project.id, id, SHOWN).await?
    };
    Ok(ShownImport { import, errors })
}
