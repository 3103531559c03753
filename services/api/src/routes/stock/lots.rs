//! Manufacturers' batches.

use crate::routes::setup::resource::resource;

resource! {
    Lot, "stock", ManageMaterials,
    "/v1/projects/{project}/stock/lots",
    "/v1/projects/{project}/stock/lots/{code}",
    list_lots "List the lots.",
    get_lot "Read a lot.",
    put_lot "Create or replace a lot.",
    create_lot "Create a lot.",
}
