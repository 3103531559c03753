//! Where stock lies.

use crate::routes::setup::resource::resource;

resource! {
    Location, "stock", ManageMaterials,
    "/v1/projects/{project}/stock/locations",
    "/v1/projects/{project}/stock/locations/{code}",
    list_locations "List the locations of stock.",
    get_location "Read a location of stock.",
    put_location "Create or replace a location of stock.",
    create_location "Create a location of stock.",
}
