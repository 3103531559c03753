//! Stretches of the line.

use crate::routes::setup::resource::resource;

resource! {
    Section, "setup", ManageLine,
    "/v1/projects/{project}/sections",
    "/v1/projects/{project}/sections/{code}",
    list_sections "List the sections.",
    get_section "Read a section.",
    put_section "Create or replace a section.",
}
