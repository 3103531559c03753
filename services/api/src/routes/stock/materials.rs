//! The catalogue.

use crate::routes::setup::resource::resource;

resource! {
    Material, "stock", ManageMaterials,
    "/v1/projects/{project}/stock/materials",
    "/v1/projects/{project}/stock/materials/{code}",
    list_materials "List the catalogue of materials.",
    get_material "Read a material.",
    put_material "Create or replace a material.",
    create_material "Create a material.",
}
