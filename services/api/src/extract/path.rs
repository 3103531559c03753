//! The variable parts of paths that many operations share.

use serde::Deserialize;
use utoipa::IntoParams;

/// A project.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct ProjectPath {
    /// Id or code of the project.
    pub project: String,
}

/// Something in a project that has a code.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct ItemPath {
    /// Id or code of the project.
    pub project: String,
    /// Code of the item.
    pub code: String,
}
