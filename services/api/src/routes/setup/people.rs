//! Those who coat, test and inspect.

use crate::routes::setup::resource::resource;

resource! {
    Person, "setup", ManageQuality,
    "/v1/projects/{project}/people",
    "/v1/projects/{project}/people/{code}",
    list_people "List the people with their qualifications.",
    get_person "Read a person with their qualifications.",
    put_person "Create or replace a person with their qualifications.",
}
