//! Ordered layers on a prepared surface.

use crate::routes::setup::resource::resource;

resource! {
    CoatingSystem, "setup", ManageLine,
    "/v1/projects/{project}/coating-systems",
    "/v1/projects/{project}/coating-systems/{code}",
    list_coating_systems "List the coating systems.",
    get_coating_system "Read a coating system.",
    put_coating_system "Create or replace a coating system.",
}
