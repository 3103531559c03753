//! The inspection plan: the parameters of the gates.
//!
//! All defaults are common practice, no source, unless said otherwise; a project confirms its own.

use std::collections::BTreeMap;

use calc::{Limits, VoltageMethod};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::item::{Item, Kind};
use crate::{
    joints::Severity,
    schema::{FieldError, Validate},
};

/// Limits of the conditions; a value exactly on its limit is inside.
#[derive(ToSchema)]
#[schema(as = ConditionLimits)]
#[serde(deny_unknown_fields)]
#[expect(dead_code, reason = "only its schema is used: `calc` knows no API description")]
#[derive(Deserialize)]
pub struct ConditionLimits {
    /// Lowest steel temperature, °C.
    steel_min_c: Option<f64>,
    /// Highest steel temperature, °C.
    steel_max_c: Option<f64>,
    /// Lowest air temperature, °C.
    air_min_c: Option<f64>,
    /// Highest air temperature, °C.
    air_max_c: Option<f64>,
    /// Highest relative humidity, %.
    relative_humidity_max_percent: Option<f64>,
    /// Least margin of the steel above the dew point, K.
    dew_point_margin_c: Option<f64>,
}

/// Which published rule gives the voltage of the holiday test.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct VoltageRule {
    /// Code of the method, such as `five_plus_five_per_mm`.
    #[schema(value_type = VoltageMethodCode)]
    pub method: VoltageMethod,
    /// Highest voltage, kV.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(exclusive_minimum = 0, maximum = 60)]
    pub cap_kv: Option<f64>,
    /// The voltage of the method `fixed_band`, kV.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(exclusive_minimum = 0, maximum = 60)]
    pub fixed_kv: Option<f64>,
}

/// The codes of the voltage methods.
#[derive(ToSchema, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum VoltageMethodCode {
    /// NACE SP0274.
    NaceSp0274,
    /// ASTM G62 method B, editions before 2023; not for tape.
    AstmG62MethodB,
    /// NACE SP0490.
    NaceSp0490,
    /// 5 kV and 5 kV more per mm, capped.
    FivePlusFivePerMm,
    /// 10 kV per mm, capped.
    TenPerMm,
    /// 5 kV per mm.
    FivePerMm,
    /// A voltage given by the contract.
    FixedBand,
}

/// The gates' parameters.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct InspectionPlan {
    /// Code, such as `ITP-1`.
    #[schema(min_length = 1, max_length = 40)]
    pub code: String,
    /// Name for people.
    #[schema(min_length = 1, max_length = 200)]
    pub name: String,
    /// Rule of the test voltage.
    #[serde(default = "default_voltage_rule")]
    pub voltage_rule: VoltageRule,
    /// How long a passed test is good for backfill, h.
    #[serde(default = "forty_eight")]
    #[schema(minimum = 1, maximum = 2000)]
    pub test_valid_h: i64,
    /// How old a reading of the conditions may be, minutes.
    #[serde(default = "two_hundred_forty")]
    #[schema(minimum = 1, maximum = 10000)]
    pub ambient_valid_min: i64,
    /// Longest time from the preparation of the steel to the first layer, minutes.
    #[serde(default = "two_hundred_forty")]
    #[schema(minimum = 1, maximum = 10000)]
    pub preparation_valid_min: i64,
    /// Conditions that hold for every material.
    #[serde(default = "default_limits")]
    #[schema(value_type = ConditionLimits)]
    pub limits: Limits,
    /// Most rain in the hour before, mm; null where rain is not held against the work.
    #[serde(default = "no_rain")]
    #[schema(minimum = 0, maximum = 300)]
    pub rain_max_mm: Option<f64>,
    /// Strongest wind, m/s; none if absent. Work in a shelter is read in the shelter.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(exclusive_minimum = 0, maximum = 75)]
    pub wind_max_m_s: Option<f64>,
    /// Conditions of the holiday test, which asks for a dry surface.
    #[serde(default = "default_test_limits")]
    #[schema(value_type = ConditionLimits)]
    pub test_limits: Limits,
    /// Least time from the last layer to the holiday test, minutes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 100_000)]
    pub test_after_wrap_min: Option<i64>,
    /// Longest time from the last layer to the holiday test, minutes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 100_000)]
    pub test_within_wrap_min: Option<i64>,
    /// Fastest travel of the electrode, mm/s.
    #[serde(default = "default_travel_speed")]
    #[schema(exclusive_minimum = 0, maximum = 5000)]
    pub travel_speed_max_mm_s: f64,
    /// Least peel force, N/mm of width; only the look decides if absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 1000)]
    pub peel_force_min_n_per_mm: Option<f64>,
    /// From which severity a finding opens a nonconformance.
    #[serde(default = "default_nonconformance_from")]
    pub nonconformance_from: Severity,
    /// From which severity an open nonconformance blocks the release.
    #[serde(default = "default_nonconformance_from")]
    pub blocking_from: Severity,
    /// Severity of a finding by its code, where it differs from the default.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub severities: BTreeMap<String, Severity>,
}

impl InspectionPlan {
    /// A plan with every parameter at its default.
    pub fn with_defaults(code: &str) -> Self {
        Self {
            code: code.to_owned(),
            name: "Inspection and test plan".to_owned(),
            voltage_rule: default_voltage_rule(),
            test_valid_h: forty_eight(),
            ambient_valid_min: two_hundred_forty(),
            preparation_valid_min: two_hundred_forty(),
            limits: default_limits(),
            rain_max_mm: no_rain(),
            wind_max_m_s: None,
            test_limits: default_test_limits(),
            test_after_wrap_min: None,
            test_within_wrap_min: None,
            travel_speed_max_mm_s: default_travel_speed(),
            peel_force_min_n_per_mm: None,
            nonconformance_from: default_nonconformance_from(),
            blocking_from: default_nonconformance_from(),
            severities: BTreeMap::new(),
        }
    }
}

const fn forty_eight() -> i64 {
    48
}

const fn two_hundred_forty() -> i64 {
    240
}

const fn default_travel_speed() -> f64 {
    calc::TRAVEL_SPEED_MAX_MM_PER_S
}

const fn default_nonconformance_from() -> Severity {
    Severity::Major
}

fn default_voltage_rule() -> VoltageRule {
    VoltageRule { method: VoltageMethod::FivePlusFivePerMm, cap_kv: Some(20.0), fixed_kv: None }
}

/// 3 K above the dew point: NACE RP0176-2003, 14.3.1. 85 %: from memory, unverified.
fn default_limits() -> Limits {
    Limits {
        dew_point_margin_c: Some(3.0),
        relative_humidity_max_percent: Some(85.0),
        ..Limits::default()
    }
}

/// No coating on rained-on steel, no test on a wet surface: common practice, no source.
#[expect(clippy::unnecessary_wraps, reason = "serde asks for the type of the field")]
const fn no_rain() -> Option<f64> {
    Some(0.0)
}

/// A surface under the dew point is wet, and a spark creeps along the water: common practice, no
/// source.
fn default_test_limits() -> Limits {
    Limits { dew_point_margin_c: Some(0.0), ..Limits::default() }
}

impl Validate for InspectionPlan {
    fn faults(&self) -> Vec<FieldError> {
        let rule = &self.voltage_rule;
        let mut faults = Vec::new();
        if rule.method == VoltageMethod::FixedBand && rule.fixed_kv.is_none() {
            let detail = "the method `fixed_band` needs the voltage that the contract gives";
            faults.push(FieldError::new("/voltage_rule/fixed_kv", "REQUIRED", detail));
        }
        if !rule.method.admits_tape() {
            let detail = "this method excludes tape systems; name another one";
            faults.push(FieldError::new("/voltage_rule/method", "NOT_FOR_TAPE", detail));
        }
        if let (Some(least), Some(most)) = (self.test_after_wrap_min, self.test_within_wrap_min)
            && least >= most
        {
            let detail = format!("must be more than test_after_wrap_min, which is {least}");
            faults.push(FieldError::new("/test_within_wrap_min", "OUT_OF_RANGE", detail));
        }
        faults
    }
}

impl Item for InspectionPlan {
    const KIND: Kind = Kind::InspectionPlan;

    fn code(&self) -> &str {
        &self.code
    }
}
