//! `jointward openapi`.

use crate::terminal;

/// Prints the description of the API.
pub fn run() -> anyhow::Result<()> {
    terminal::show(&api::openapi_json())
}
