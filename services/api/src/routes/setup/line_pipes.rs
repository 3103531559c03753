//! Pipe as it comes from the coating plant.

use crate::routes::setup::resource::resource;

resource! {
    LinePipe, "setup", ManageLine,
    "/v1/projects/{project}/line-pipes",
    "/v1/projects/{project}/line-pipes/{code}",
    list_line_pipes "List the kinds of line pipe.",
    get_line_pipe "Read a kind of line pipe.",
    put_line_pipe "Create or replace a kind of line pipe.",
}
