//! The dew point of air.

use domain::schema::Validate;
use serde::{Deserialize, Serialize};
use units::{RelativeHumidity, Temperature};
use utoipa::ToSchema;

use crate::{
    Calculation,
    faults::{Faults, quantity},
};

/// Dew point of air over liquid water.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({ "air_c": 20.0, "relative_humidity_percent": 85.0 }))]
pub struct DewPointRequest {
    /// Air, °C.
    #[schema(minimum = -40, maximum = 60)]
    pub air_c: f64,
    /// Relative humidity of the air, %.
    #[schema(exclusive_minimum = 0, maximum = 100)]
    pub relative_humidity_percent: f64,
}

/// The dew point.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct DewPointAnswer {
    /// Dew point, °C.
    pub dew_point_c: f64,
    /// The formula in words of mathematics.
    pub formula: &'static str,
    /// Where it comes from.
    pub source: &'static str,
}

impl Validate for DewPointRequest {}

impl Calculation for DewPointRequest {
    const NAME: &'static str = "dew-point";
    type Answer = DewPointAnswer;

    fn answer(&self) -> Result<DewPointAnswer, Faults> {
        let air = quantity("/air_c", Temperature::from_celsius(self.air_c))?;
        let humidity = RelativeHumidity::from_percent(self.relative_humidity_percent);
        let humidity = quantity("/relative_humidity_percent", humidity)?;
        Ok(DewPointAnswer {
            dew_point_c: calc::dew_point(air, humidity),
            formula: "γ = ln(RH/100) + 17.625·T/(243.04 + T); Td = 243.04·γ/(17.625 − γ)",
            source: "Magnus form, coefficients of Alduchov and Eskridge 1996, J. Appl. Meteor. 35, \
                     601 (abstract seen; coefficients from memory, held against psychrolib 2.5.0)",
        })
    }
}
