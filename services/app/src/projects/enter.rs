//! Every use case of a project starts here.

use chrono_tz::Tz;
use domain::{
    access::{Permission, Role, allows},
    ids::ProjectId,
};
use serde::Serialize;
use store::{
    StoreError,
    projects::{Membership, ProjectRef},
};

use crate::{Actor, App, AppError};

/// What people read and print.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum UnitSystem {
    /// Metres, millimetres, °C.
    Si,
    /// Feet, inches, mils, °F.
    Imperial,
}

impl UnitSystem {
    /// The name in JSON and SQL.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Si => "si",
            Self::Imperial => "imperial",
        }
    }

    /// The system of that name.
    pub fn parse(name: &str) -> Option<Self> {
        [Self::Si, Self::Imperial].into_iter().find(|system| system.name() == name)
    }
}

/// A project that its holder may enter, and as what.
#[derive(Debug, Clone)]
pub struct ProjectEntry {
    /// Its id.
    pub id: ProjectId,
    /// Short name in addresses.
    pub code: String,
    /// Name for people.
    pub name: String,
    /// The zone in which calendar days are judged.
    pub time_zone: Tz,
    /// What people read and print.
    pub units: UnitSystem,
    /// Its entity tag.
    pub version: i64,
    /// Version of its set-up as a whole.
    pub setup_version: i64,
    /// The holder's role.
    pub role: Role,
}

impl ProjectEntry {
    /// Refuses a role that lacks `permission`.
    pub fn require(&self, permission: Permission) -> Result<(), AppError> {
        if allows(self.role, permission) { Ok(()) } else { Err(AppError::forbidden(permission)) }
    }
}

impl TryFrom<Membership> for ProjectEntry {
    type Error = StoreError;

    fn try_from(Membership { project, role }: Membership) -> Result<Self, StoreError> {
        let wrong = |detail| StoreError::inconsistent("projects", project.id, detail);
        Ok(Self {
            id: project.id,
            time_zone: project.time_zone.parse().map_err(|_| wrong("unknown time zone"))?,
            units: UnitSystem::parse(&project.units).ok_or_else(|| wrong("unknown units"))?,
            code: project.code,
            name: project.name,
            version: project.version,
            setup_version: project.setup_version,
            role,
        })
    }
}

/// Enters the project of the id or code `project_ref` to do what takes `permission`.
///
/// To those who are not members the project does not exist.
pub async fn enter(
    app: &App,
    actor: &Actor,
    project_ref: &str,
    permission: Permission,
) -> Result<ProjectEntry, AppError> {
    let reference = reference(project_ref);
    let mut conn = app.begin_as(actor.user).await?;
    let membership = store::projects::find_membership(&mut conn, actor.user, reference)
        .await?
        .ok_or_else(|| AppError::not_found(format!("project {project_ref}")))?;
    let entry = ProjectEntry::try_from(membership)?;
    entry.require(permission)?;
    Ok(entry)
}

pub(super) fn reference(project_ref: &str) -> ProjectRef<'_> {
    match project_ref.parse() {
        Ok(id) => ProjectRef::Id(id),
        Err(_) => ProjectRef::Code(project_ref),
    }
}
