use app::projects::{ProjectEntry, UnitSystem};
use domain::{
    access::Role,
    ids::{ProjectId, UserId},
};
use serde::{Deserialize, Serialize};
use store::members::Member;
use utoipa::ToSchema;

use crate::reply::Versioned;

/// A project as its members see it.
#[derive(Serialize, ToSchema)]
pub struct ProjectView {
    /// Id.
    id: ProjectId,
    /// Code.
    code: String,
    /// Name for people.
    name: String,
    /// The zone in which calendar days are judged.
    #[schema(example = "Europe/Vienna")]
    time_zone: String,
    /// Units that people see.
    units: Units,
    /// Your role.
    role: Role,
    /// Counts the changes of the project itself.
    version: i64,
    /// Counts the changes of its set-up.
    setup_version: i64,
}

impl From<ProjectEntry> for ProjectView {
    fn from(entry: ProjectEntry) -> Self {
        Self {
            id: entry.id,
            code: entry.code,
            name: entry.name,
            time_zone: entry.time_zone.name().to_owned(),
            units: entry.units.into(),
            role: entry.role,
            version: entry.version,
            setup_version: entry.setup_version,
        }
    }
}

/// A member of a project.
#[derive(Serialize, ToSchema)]
pub struct MemberView {
    /// Id of the user.
    pub user: UserId,
    /// Address of the user.
    pub email: String,
    /// Printed name.
    pub name: String,
    /// What they are in the project.
    pub role: Role,
}

impl MemberView {
    /// `member` and its version.
    pub fn versioned(member: Member) -> Versioned<Self> {
        let Member { user, email, name, role, version } = member;
        Versioned::new(Self { user, email, name, role }, version)
    }
}

/// Units that people see.
#[derive(Clone, Copy, Default, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Units {
    /// Metres, millimetres, degrees Celsius.
    #[default]
    Si,
    /// Feet, inches, degrees Fahrenheit.
    Imperial,
}

impl From<UnitSystem> for Units {
    fn from(units: UnitSystem) -> Self {
        match units {
            UnitSystem::Si => Self::Si,
            UnitSystem::Imperial => Self::Imperial,
        }
    }
}

impl From<Units> for UnitSystem {
    fn from(units: Units) -> Self {
        match units {
            Units::Si => Self::Si,
            Units::Imperial => Self::Imperial,
        }
    }
}
