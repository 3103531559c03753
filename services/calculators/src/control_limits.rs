//! Which share of nonconforming joints is out of control.

use domain::schema::Validate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    Calculation,
    faults::{Faults, of_input},
    whole::whole,
};

/// p-chart of nonconforming shares, with limits for each subgroup's own size.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({
    "subgroups": [
        { "inspected": 50, "nonconforming": 2 }, { "inspected": 40, "nonconforming": 9 },
    ],
}))]
pub struct ControlLimitsRequest {
    /// What was inspected together: a day, a shift, a crew.
    #[schema(min_items = 1, max_items = 10_000)]
    pub subgroups: Vec<Subgroup>,
    /// How many standard deviations the limits are wide to each side; 3 if absent.
    #[schema(exclusive_minimum = 0, maximum = 100)]
    pub sigmas: Option<f64>,
}

/// What was inspected together.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Subgroup {
    /// How many.
    #[serde(deserialize_with = "whole")]
    #[schema(minimum = 1, maximum = 1_000_000_000_000_u64)]
    pub inspected: u64,
    /// How many of them did not conform; at most as many as inspected.
    #[serde(deserialize_with = "whole")]
    #[schema(minimum = 0, maximum = 1_000_000_000_000_u64)]
    pub nonconforming: u64,
}

/// The chart.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ControlLimitsAnswer {
    /// Total nonconforming over total inspected, 0 to 1.
    pub p_bar: f64,
    /// One point for each subgroup.
    pub points: Vec<ControlPoint>,
}

/// A subgroup against its limits.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ControlPoint {
    /// Nonconforming over inspected.
    pub p: f64,
    /// Lower limit, not under 0.
    pub lower: f64,
    /// Upper limit, not over 1.
    pub upper: f64,
    /// Outside its limits; exactly on one is inside.
    pub signal: bool,
}

impl Validate for ControlLimitsRequest {}

impl Calculation for ControlLimitsRequest {
    const NAME: &'static str = "control-limits";
    type Answer = ControlLimitsAnswer;

    fn answer(&self) -> Result<ControlLimitsAnswer, Faults> {
        let subgroups = self.subgroups.iter();
        let subgroups: Vec<_> = subgroups
            .map(|it| calc::Subgroup { inspected: it.inspected, nonconforming: it.nonconforming })
            .collect();
        let sigmas = self.sigmas.unwrap_or(3.0);
        let chart = calc::control_limits(&subgroups, sigmas).map_err(of_input)?;
        let points = chart.points.into_iter().map(|it| ControlPoint {
            p: it.p,
            lower: it.lower,
            upper: it.upper,
            signal: it.signal,
        });
        Ok(ControlLimitsAnswer { p_bar: chart.p_bar, points: points.collect() })
    }
}
