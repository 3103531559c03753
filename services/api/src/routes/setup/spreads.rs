//! Construction trains.

use crate::routes::setup::resource::resource;

resource! {
    Spread, "setup", ManageLine,
    "/v1/projects/{project}/spreads",
    "/v1/projects/{project}/spreads/{code}",
    list_spreads "List the spreads.",
    get_spread "Read a spread.",
    put_spread "Create or replace a spread.",
}
