//! What seals the records of a project.

use serde::Deserialize;
use utoipa::IntoParams;
use utoipa_actix_web::service_config::ServiceConfig;

use crate::Problem;

mod get_checkpoint;
mod get_checkpoint_file;
mod list_checkpoints;

pub(super) fn configure(config: &mut ServiceConfig) {
    config
        .service(list_checkpoints::list_checkpoints)
        .service(get_checkpoint::get_checkpoint)
        .service(get_checkpoint_file::get_checkpoint_file);
}

/// A checkpoint.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct CheckpointPath {
    /// Id or code of the project.
    #[serde(rename = "project")]
    #[param(rename = "project")]
    _project: String,
    /// Number of the checkpoint.
    #[param(example = "1")]
    number: String,
}

impl CheckpointPath {
    /// What is no number names no checkpoint.
    fn number(&self) -> Result<i64, Problem> {
        let number = self.number.parse().ok();
        number.ok_or_else(|| Problem::not_found(&format!("checkpoint {}", self.number)))
    }
}
