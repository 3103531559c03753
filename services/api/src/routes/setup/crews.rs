//! Crews of the spreads.

use crate::routes::setup::resource::resource;

resource! {
    Crew, "setup", ManageLine,
    "/v1/projects/{project}/crews",
    "/v1/projects/{project}/crews/{code}",
    list_crews "List the crews.",
    get_crew "Read a crew.",
    put_crew "Create or replace a crew.",
}
