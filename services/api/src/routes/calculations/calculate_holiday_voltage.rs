use actix_web::{post, web::Json};
use calculators::{HolidayVoltageAnswer, HolidayVoltageRequest};

use super::answer;
use crate::{
    Problem,
    extract::{Body, Metered},
};

/// Voltage of the holiday test.
///
/// High voltage: read the `cautions` of the answer. The contract names the method, and the
/// site's procedure and local codes decide.
#[utoipa::path(
    tag = "calculations",
    request_body = HolidayVoltageRequest,
    responses((status = 200, body = HolidayVoltageAnswer)),
    security(()),
)]
#[post("/v1/calculations/holiday-voltage")]
pub async fn calculate_holiday_voltage(
    _: Metered,
    body: Body<HolidayVoltageRequest>,
) -> Result<Json<HolidayVoltageAnswer>, Problem> {
    answer(&body.0)
}
