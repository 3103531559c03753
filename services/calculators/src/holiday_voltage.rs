//! The voltage of the holiday test.

use calc::{MethodDescription, VoltageError, VoltageMethod, VoltageRule};
use domain::{
    schema::{FieldError, Validate},
    setup::VoltageMethodCode,
};
use serde::{Deserialize, Serialize};
use units::Length;
use utoipa::ToSchema;

use crate::{
    Calculation,
    faults::{Faults, out_of_range, quantity},
};

/// Voltage of the holiday test by a published method. Methods disagree: the contract names one.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({ "coating_thickness_mm": 2.0, "method": "five_plus_five_per_mm" }))]
pub struct HolidayVoltageRequest {
    /// Thickness of the whole coating under the electrode, mm.
    #[schema(exclusive_minimum = 0, maximum = 100)]
    pub coating_thickness_mm: f64,
    /// Code of the method.
    #[schema(value_type = VoltageMethodCode)]
    pub method: VoltageMethod,
    /// Highest voltage, kV; the method's own cap if absent.
    #[schema(exclusive_minimum = 0, maximum = 1000)]
    pub cap_kv: Option<f64>,
    /// The voltage that the contract gives, kV: for the method `fixed_band` alone.
    #[schema(exclusive_minimum = 0, maximum = 1000)]
    pub fixed_kv: Option<f64>,
    /// Dielectric strength of the coating, kV/mm: to be warned before sound coating breaks down.
    #[schema(exclusive_minimum = 0, maximum = 1000)]
    pub dielectric_strength_kv_per_mm: Option<f64>,
}

/// The voltage and where it comes from.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct HolidayVoltageAnswer {
    /// The voltage, kV.
    pub voltage_kv: f64,
    /// Code of the method.
    #[schema(value_type = VoltageMethodCode)]
    pub method: VoltageMethod,
    /// The formula in words of mathematics.
    pub formula: &'static str,
    /// Where it comes from.
    pub source: &'static str,
    /// Least thickness the method is valid for, mm; 0 = any over 0.
    pub valid_from_mm: f64,
    /// Greatest thickness the method is valid for, mm; null = open.
    #[schema(required)]
    pub valid_to_mm: Option<f64>,
    /// Whether the method's own scope admits tape systems.
    pub admits_tape: bool,
    /// What looks wrong about this voltage; told, and nothing is blocked by it.
    pub warnings: Vec<String>,
    /// What can hurt somebody at the test.
    #[schema(value_type = Vec<String>)]
    pub cautions: [&'static str; 4],
}

impl Validate for HolidayVoltageRequest {
    fn faults(&self) -> Faults {
        let fixed = self.method == VoltageMethod::FixedBand;
        match self.fixed_kv {
            None if fixed => {
                let detail = "the method `fixed_band` needs the voltage that the contract gives: \
                              over 0 and at most 1000";
                vec![FieldError::new("/fixed_kv", "REQUIRED", detail)]
            }
            Some(_) if !fixed => {
                let detail = "is for the method `fixed_band` alone; leave it out";
                vec![FieldError::new("/fixed_kv", "NOT_FOR_THIS_METHOD", detail)]
            }
            _ => Vec::new(),
        }
    }
}

impl Calculation for HolidayVoltageRequest {
    const NAME: &'static str = "holiday-voltage";
    type Answer = HolidayVoltageAnswer;

    fn answer(&self) -> Result<HolidayVoltageAnswer, Faults> {
        let thickness = Length::from_millimetres(self.coating_thickness_mm);
        let thickness = quantity("/coating_thickness_mm", thickness)?;
        let Self { method, cap_kv, fixed_kv, .. } = *self;
        let rule = VoltageRule { method, cap_kv, fixed_kv };
        let required = calc::required_voltage(thickness, &rule).map_err(|error| refused(&error))?;
        let strength = self.dielectric_strength_kv_per_mm;
        let warned = calc::voltage_warnings(thickness, required.voltage, strength);
        let mut warnings: Vec<String> =
            warned.map_err(|error| refused(&error))?.iter().map(ToString::to_string).collect();
        if !method.admits_tape() {
            warnings.push("the method's own scope excludes tape systems".to_owned());
        }
        Ok(HolidayVoltageAnswer {
            voltage_kv: required.voltage.as_kilovolts(),
            method,
            formula: required.formula,
            source: required.source,
            valid_from_mm: required.valid_from_mm,
            valid_to_mm: required.valid_to_mm,
            admits_tape: method.admits_tape(),
            warnings,
            cautions: calc::CAUTIONS,
        })
    }
}

fn refused(error: &VoltageError) -> Faults {
    let pointer = match error {
        VoltageError::OutsideValidity { .. } | VoltageError::UndefinedInStandard { .. } => {
            "/coating_thickness_mm"
        }
        VoltageError::InvalidCap { .. } => "/cap_kv",
        VoltageError::NoFixedVoltage | VoltageError::InvalidFixedVoltage { .. } => "/fixed_kv",
        VoltageError::InvalidDielectricStrength { .. } => "/dielectric_strength_kv_per_mm",
    };
    vec![out_of_range(pointer, error.to_string())]
}

/// Every method.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct VoltageMethods {
    /// The methods; results under different ones are not compared.
    pub items: Vec<VoltageMethodView>,
}

/// A method of the test voltage.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct VoltageMethodView {
    /// Its code.
    #[schema(value_type = VoltageMethodCode)]
    pub method: VoltageMethod,
    /// The formula in words of mathematics.
    pub formula: &'static str,
    /// Where it comes from.
    pub source: &'static str,
    /// Least thickness it is valid for, mm; 0 = any over 0.
    pub valid_from_mm: f64,
    /// Greatest thickness it is valid for, mm; null = open.
    #[schema(required)]
    pub valid_to_mm: Option<f64>,
    /// Its own highest voltage, kV, where none is asked for; null = none.
    #[schema(required)]
    pub cap_kv: Option<f64>,
    /// Whether its own scope admits tape systems.
    pub admits_tape: bool,
}

impl From<MethodDescription> for VoltageMethodView {
    fn from(it: MethodDescription) -> Self {
        Self {
            method: it.method,
            formula: it.formula,
            source: it.source,
            valid_from_mm: it.valid_from_mm,
            valid_to_mm: it.valid_to_mm,
            cap_kv: it.cap_kv,
            admits_tape: it.admits_tape,
        }
    }
}

/// Every method, described.
pub fn voltage_methods() -> VoltageMethods {
    let methods = calc::voltage_methods().into_iter();
    VoltageMethods { items: methods.map(VoltageMethodView::from).collect() }
}
