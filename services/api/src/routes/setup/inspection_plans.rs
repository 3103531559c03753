//! The parameters of the gates.

use crate::routes::setup::resource::resource;

resource! {
    InspectionPlan, "setup", ManageQuality,
    "/v1/projects/{project}/inspection-plans",
    "/v1/projects/{project}/inspection-plans/{code}",
    list_inspection_plans "List the inspection plans.",
    get_inspection_plan "Read an inspection plan.",
    put_inspection_plan "Create or replace an inspection plan.",
}
