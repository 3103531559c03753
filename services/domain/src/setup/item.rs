//! What all set-up items share.

use serde::{Serialize, de::DeserializeOwned};
use utoipa::ToSchema;

use crate::schema::{FieldError, Validate};

/// The kinds of set-up items.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Kind {
    /// Line pipe.
    LinePipe,
    /// Construction train.
    Spread,
    /// Crew of a spread.
    Crew,
    /// Stretch of the line.
    Section,
    /// Catalogue item.
    Material,
    /// One batch of a material.
    Lot,
    /// Ordered layers.
    CoatingSystem,
    /// Gates, limits and ages.
    InspectionPlan,
    /// Somebody with qualifications.
    Person,
    /// Spark tester with calibrations.
    Detector,
    /// Where stock lies.
    Location,
    /// Which days are worked; one a project.
    WorkingCalendar,
    /// How many joints are to be coated when; one a project.
    ProductionPlan,
}

impl Kind {
    /// Every kind, an item's references first.
    pub const ALL: [Self; 13] = [
        Self::LinePipe,
        Self::Spread,
        Self::Crew,
        Self::Material,
        Self::Lot,
        Self::CoatingSystem,
        Self::InspectionPlan,
        Self::Section,
        Self::Person,
        Self::Detector,
        Self::Location,
        Self::WorkingCalendar,
        Self::ProductionPlan,
    ];

    /// The name in SQL and messages.
    pub const fn name(self) -> &'static str {
        match self {
            Self::LinePipe => "line_pipe",
            Self::Spread => "spread",
            Self::Crew => "crew",
            Self::Section => "section",
            Self::Material => "material",
            Self::Lot => "lot",
            Self::CoatingSystem => "coating_system",
            Self::InspectionPlan => "inspection_plan",
            Self::Person => "person",
            Self::Detector => "detector",
            Self::Location => "location",
            Self::WorkingCalendar => "working_calendar",
            Self::ProductionPlan => "production_plan",
        }
    }

    /// The kind of that name.
    pub fn parse(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.name() == name)
    }
}

/// A code of another item that an item names.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reference {
    /// JSON pointer of the field that names it, without the leading `#`.
    pub pointer: String,
    /// What it must be.
    pub kind: Kind,
    /// Its code.
    pub code: String,
}

impl Reference {
    /// `pointer` names the item `code` of `kind`.
    pub fn new(pointer: impl Into<String>, kind: Kind, code: &str) -> Self {
        Self { pointer: pointer.into(), kind, code: code.to_owned() }
    }
}

/// A set-up item.
pub trait Item: Serialize + DeserializeOwned + ToSchema + Validate + Send + 'static {
    /// Its kind.
    const KIND: Kind;

    /// Its code, unique among its kind in the project.
    fn code(&self) -> &str;

    /// The fields that would change although other operations change them; `before` is the version
    /// that this one replaces.
    fn changed_elsewhere(&self, _before: Option<&Self>) -> Vec<FieldError> {
        Vec::new()
    }

    /// The other items it names; they must exist.
    fn references(&self) -> Vec<Reference> {
        Vec::new()
    }
}
