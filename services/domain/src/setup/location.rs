//! Where stock lies.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::item::{Item, Kind, Reference};
use crate::{
    schema::{FieldError, Validate},
    stock::RESERVED,
};

/// What kind of place.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum LocationKind {
    /// A yard or a warehouse.
    Yard,
    /// A container along the line.
    Container,
    /// What a crew has with it.
    Crew,
}

/// A place that holds stock.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Location {
    /// Code, such as `YARD-1`. `supplier`, `joint`, `scrap`, `adjustment` and `unrecorded` are
    /// taken.
    #[schema(min_length = 1, max_length = 40)]
    pub code: String,
    /// Name for people.
    #[schema(min_length = 1, max_length = 200)]
    pub name: String,
    /// What kind of place.
    pub kind: LocationKind,
    /// Code of the crew; of the kind `crew` alone.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub crew: Option<String>,
}

impl Validate for Location {
    fn faults(&self) -> Vec<FieldError> {
        let mut faults = Vec::new();
        if RESERVED.contains(&self.code.as_str()) {
            let detail = format!("`{}` is always there and holds nothing", self.code);
            faults.push(FieldError::new("/code", "RESERVED", detail));
        }
        match (self.kind, &self.crew) {
            (LocationKind::Crew, None) => {
                let detail = "`crew` is missing: say whose it is";
                faults.push(FieldError::new("/crew", "REQUIRED", detail));
            }
            (LocationKind::Yard | LocationKind::Container, Some(_)) => {
                let detail = "only a location of the kind `crew` belongs to a crew";
                faults.push(FieldError::new("/crew", "NOT_ALLOWED", detail));
            }
            _ => {}
        }
        faults
    }
}

impl Item for Location {
    const KIND: Kind = Kind::Location;

    fn code(&self) -> &str {
        &self.code
    }

    fn references(&self) -> Vec<Reference> {
        self.crew.iter().map(|code| Reference::new("/crew", Kind::Crew, code)).collect()
    }
}
