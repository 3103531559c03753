//! How far a share seen in a sample can be trusted.

use domain::schema::Validate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    Calculation,
    faults::{Faults, of_input},
    whole::whole,
};

/// Wilson's score interval for a share.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({ "inspected": 50, "nonconforming": 2, "confidence_percent": 95.0 }))]
pub struct ProportionIntervalRequest {
    /// How many were inspected.
    #[serde(deserialize_with = "whole")]
    #[schema(minimum = 1, maximum = 1_000_000_000_000_u64)]
    pub inspected: u64,
    /// How many of them did not conform; at most as many as inspected.
    #[serde(deserialize_with = "whole")]
    #[schema(minimum = 0, maximum = 1_000_000_000_000_u64)]
    pub nonconforming: u64,
    /// Confidence, %.
    #[schema(exclusive_minimum = 0, exclusive_maximum = 100)]
    pub confidence_percent: f64,
}

/// The interval, within 0 to 1.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ProportionIntervalAnswer {
    /// Its lower end.
    pub low: f64,
    /// Its upper end.
    pub high: f64,
}

impl Validate for ProportionIntervalRequest {}

impl Calculation for ProportionIntervalRequest {
    const NAME: &'static str = "proportion-interval";
    type Answer = ProportionIntervalAnswer;

    fn answer(&self) -> Result<ProportionIntervalAnswer, Faults> {
        let Self { inspected, nonconforming, confidence_percent } = *self;
        let found = calc::wilson_interval(inspected, nonconforming, confidence_percent);
        let found = found.map_err(of_input)?;
        Ok(ProportionIntervalAnswer { low: found.low, high: found.high })
    }
}
