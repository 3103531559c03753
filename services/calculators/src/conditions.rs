//! Air, humidity and steel against limits.

use domain::schema::Validate;
use serde::{Deserialize, Serialize};
use units::{RelativeHumidity, Temperature};
use utoipa::ToSchema;

use crate::{
    Calculation,
    faults::{Faults, quantity},
};

/// Air, humidity and steel against limits; a value exactly on its limit is inside.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({
    "air_c": 20.0, "relative_humidity_percent": 85.0, "steel_c": 20.5,
    "limits": { "dew_point_margin_c": 3.0, "relative_humidity_max_percent": 85.0 },
}))]
pub struct ConditionsRequest {
    /// Air, °C.
    #[schema(minimum = -40, maximum = 60)]
    pub air_c: f64,
    /// Relative humidity of the air, %.
    #[schema(exclusive_minimum = 0, maximum = 100)]
    pub relative_humidity_percent: f64,
    /// Steel on its shaded side, °C.
    #[schema(minimum = -100, maximum = 500)]
    pub steel_c: f64,
    /// The limits.
    #[serde(default)]
    pub limits: WorkingLimits,
}

/// Limits of air, humidity and steel, each optional.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WorkingLimits {
    /// Lowest steel temperature, °C.
    #[schema(minimum = -100, maximum = 500)]
    pub steel_min_c: Option<f64>,
    /// Highest steel temperature, °C.
    #[schema(minimum = -100, maximum = 500)]
    pub steel_max_c: Option<f64>,
    /// Lowest air temperature, °C.
    #[schema(minimum = -100, maximum = 500)]
    pub air_min_c: Option<f64>,
    /// Highest air temperature, °C.
    #[schema(minimum = -100, maximum = 500)]
    pub air_max_c: Option<f64>,
    /// Highest relative humidity, %.
    #[schema(minimum = 0, maximum = 100)]
    pub relative_humidity_max_percent: Option<f64>,
    /// Least margin of the steel above the dew point, K.
    #[schema(minimum = -100, maximum = 100)]
    pub dew_point_margin_c: Option<f64>,
}

impl From<&WorkingLimits> for calc::Limits {
    fn from(limits: &WorkingLimits) -> Self {
        Self {
            steel_min_c: limits.steel_min_c,
            steel_max_c: limits.steel_max_c,
            air_min_c: limits.air_min_c,
            air_max_c: limits.air_max_c,
            relative_humidity_max_percent: limits.relative_humidity_max_percent,
            dew_point_margin_c: limits.dew_point_margin_c,
        }
    }
}

/// The judgement.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ConditionsAnswer {
    /// Dew point, °C.
    pub dew_point_c: f64,
    /// Steel above the dew point, K.
    pub margin_c: f64,
    /// Whether no limit is broken.
    pub acceptable: bool,
    /// Every broken limit.
    pub broken: Vec<BrokenLimit>,
}

/// A limit that does not hold.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct BrokenLimit {
    /// Name of the limit.
    #[schema(example = "dew_point_margin_c")]
    pub limit: &'static str,
    /// What was read.
    pub value: f64,
    /// The limit.
    pub bound: f64,
}

impl From<calc::Broken> for BrokenLimit {
    fn from(broken: calc::Broken) -> Self {
        Self { limit: broken.limit, value: broken.value, bound: broken.bound }
    }
}

impl Validate for ConditionsRequest {}

impl Calculation for ConditionsRequest {
    const NAME: &'static str = "conditions";
    type Answer = ConditionsAnswer;

    fn answer(&self) -> Result<ConditionsAnswer, Faults> {
        let humidity = RelativeHumidity::from_percent(self.relative_humidity_percent);
        let reading = calc::Reading {
            air: quantity("/air_c", Temperature::from_celsius(self.air_c))?,
            relative_humidity: quantity("/relative_humidity_percent", humidity)?,
            steel: quantity("/steel_c", Temperature::from_celsius(self.steel_c))?,
        };
        let verdict = calc::conditions(&reading, &calc::Limits::from(&self.limits));
        Ok(ConditionsAnswer {
            dew_point_c: verdict.dew_point_c,
            margin_c: verdict.margin_c,
            acceptable: verdict.broken.is_empty(),
            broken: verdict.broken.into_iter().map(BrokenLimit::from).collect(),
        })
    }
}
