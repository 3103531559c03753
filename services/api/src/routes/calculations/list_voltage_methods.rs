use actix_web::{get, web::Json};
use calculators::VoltageMethods;

use crate::extract::Metered;

/// The methods of the holiday test's voltage.
#[utoipa::path(
    tag = "calculations",
    responses((status = 200, body = VoltageMethods)),
    security(()),
)]
#[get("/v1/calculations/holiday-voltage/methods")]
pub async fn list_voltage_methods(_: Metered) -> Json<VoltageMethods> {
    Json(calculators::voltage_methods())
}
