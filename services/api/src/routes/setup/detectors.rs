//! Holiday detectors.

use crate::routes::setup::resource::resource;

resource! {
    Detector, "setup", ManageQuality,
    "/v1/projects/{project}/detectors",
    "/v1/projects/{project}/detectors/{code}",
    list_detectors "List the holiday detectors with their calibrations.",
    get_detector "Read a holiday detector with its calibrations.",
    put_detector "Create or replace a holiday detector with its calibrations.",
}
