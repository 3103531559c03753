//! What a member is in a project.

use serde::{Deserialize, Serialize};

/// The roles of a project. A member has exactly one.
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    Hash,
    PartialOrd,
    Ord,
    Serialize,
    Deserialize,
    utoipa::ToSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    /// Where is every joint, what is next.
    SiteCoordinator,
    /// Stock, lots, deliveries.
    MaterialController,
    /// Hold points, nonconformances, releases.
    QaManager,
    /// Tests and inspects.
    Inspector,
    /// Coats; records from the trench.
    CrewLead,
    /// Reads everything, changes nothing.
    ClientRepresentative,
    /// Sets the project up.
    Administrator,
}

impl Role {
    /// Every role, in the order the table prints them.
    pub const ALL: [Self; 7] = [
        Self::SiteCoordinator,
        Self::MaterialController,
        Self::QaManager,
        Self::Inspector,
        Self::CrewLead,
        Self::ClientRepresentative,
        Self::Administrator,
    ];

    /// The name in JSON and SQL.
    pub const fn name(self) -> &'static str {
        match self {
            Self::SiteCoordinator => "site_coordinator",
            Self::MaterialController => "material_controller",
            Self::QaManager => "qa_manager",
            Self::Inspector => "inspector",
            Self::CrewLead => "crew_lead",
            Self::ClientRepresentative => "client_representative",
            Self::Administrator => "administrator",
        }
    }

    /// The role of that name.
    pub fn parse(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|role| role.name() == name)
    }
}
