//! People with qualifications, detectors with calibrations.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::item::{Item, Kind, Reference};
use crate::{
    ids::UserId,
    schema::{FieldError, Validate},
};

/// What a qualification is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Capability {
    /// Puts the system on.
    Applicator,
    /// Tests and inspects it.
    Inspector,
}

/// Proof that somebody can apply or inspect a system.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Qualification {
    /// What for.
    pub capability: Capability,
    /// Code of the coating system.
    pub coating_system: String,
    /// First day.
    pub valid_from: NaiveDate,
    /// Last day.
    pub valid_to: NaiveDate,
}

/// Somebody who works on the joints.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Person {
    /// Code, such as `P-014`.
    #[schema(min_length = 1, max_length = 40)]
    pub code: String,
    /// Printed name.
    #[schema(min_length = 1, max_length = 200)]
    pub name: String,
    /// The user this person signs in as.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub user: Option<UserId>,
    /// Qualifications, past and present.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub qualifications: Vec<Qualification>,
}

impl Person {
    /// Whether a qualification for `capability` on `system` covers `day`.
    pub fn qualified(&self, capability: Capability, system: &str, day: NaiveDate) -> bool {
        self.qualifications.iter().any(|it| {
            it.capability == capability
                && it.coating_system == system
                && (it.valid_from..=it.valid_to).contains(&day)
        })
    }
}

impl Validate for Person {
    fn faults(&self) -> Vec<FieldError> {
        let spans = self.qualifications.iter().map(|it| (it.valid_from, it.valid_to));
        backward_spans("/qualifications", spans)
    }
}

impl Item for Person {
    const KIND: Kind = Kind::Person;

    fn code(&self) -> &str {
        &self.code
    }

    fn references(&self) -> Vec<Reference> {
        let named = self.qualifications.iter().enumerate();
        named
            .map(|(index, it)| {
                let pointer = format!("/qualifications/{index}/coating_system");
                Reference::new(pointer, Kind::CoatingSystem, &it.coating_system)
            })
            .collect()
    }
}

/// A calibration certificate.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Calibration {
    /// Number of the certificate.
    #[schema(min_length = 1, max_length = 100)]
    pub certificate: String,
    /// First day.
    pub valid_from: NaiveDate,
    /// Last day.
    pub valid_to: NaiveDate,
}

/// A high-voltage holiday detector.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Detector {
    /// Code, such as `HD-03`.
    #[schema(min_length = 1, max_length = 60)]
    pub code: String,
    /// Name for people.
    #[schema(min_length = 1, max_length = 200)]
    pub name: String,
    /// Calibrations, past and present.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub calibrations: Vec<Calibration>,
}

impl Detector {
    /// Whether a calibration covers `day`.
    pub fn calibrated(&self, day: NaiveDate) -> bool {
        self.calibrations.iter().any(|it| (it.valid_from..=it.valid_to).contains(&day))
    }
}

impl Validate for Detector {
    fn faults(&self) -> Vec<FieldError> {
        backward_spans(
            "/calibrations",
            self.calibrations.iter().map(|it| (it.valid_from, it.valid_to)),
        )
    }
}

impl Item for Detector {
    const KIND: Kind = Kind::Detector;

    fn code(&self) -> &str {
        &self.code
    }
}

fn backward_spans(
    list: &str,
    spans: impl Iterator<Item = (NaiveDate, NaiveDate)>,
) -> Vec<FieldError> {
    spans
        .enumerate()
        .filter(|(_, (from, to))| to < from)
        .map(|(index, (from, _))| {
            let detail = format!("must not be before valid_from, which is {from}");
            FieldError::new(&format!("{list}/{index}/valid_to"), "OUT_OF_RANGE", detail)
        })
        .collect()
}
