use app::projects::{Member, ProjectEntry};
use domain::{access::Role, ids::{ProjectId, UserId}};
use serde::Serialize;
use utoipa::ToSchema;

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
    units: String,
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
            time_zone: entry.time_zone,
            units: entry.units,
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

impl From<Member> for MemberView {
    fn from(member: Member) -> Self {
        Self { user: member.user, email: member.email, name: member.name, role: member.role }
    }
}
