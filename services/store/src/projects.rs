//! Projects.

use chrono::{DateTime, Utc};
use domain::{
    access::Role,
    ids::{ProjectId, UserId},
};
use sqlx::PgConnection;

use crate::{StoreError, error::database};

/// A project.
#[derive(Debug, Clone)]
pub struct Project {
    /// Its id.
    pub id: ProjectId,
    /// Short name in addresses.
    pub code: String,
    /// Name for people.
    pub name: String,
    /// IANA name.
    pub time_zone: String,
    /// `si` or `imperial`.
    pub units: String,
    /// Its entity tag.
    pub version: i64,
    /// Version of its set-up as a whole.
    pub setup_version: i64,
    /// Who created it.
    pub created_by: UserId,
    /// When.
    pub created_at: DateTime<Utc>,
}

/// A project as one of its members sees it.
#[derive(Debug, Clone)]
pub struct Membership {
    /// The project.
    pub project: Project,
    /// The member's role.
    pub role: Role,
}

/// How a caller names a project.
#[derive(Debug, Clone, Copy)]
pub enum ProjectRef<'a> {
    /// By id.
    Id(ProjectId),
    /// By code.
    Code(&'a str),
}

struct Row {
    id: ProjectId,
    code: String,
    name: String,
    time_zone: String,
    units: String,
    version: i64,
    setup_version: i64,
    created_by: UserId,
    created_at: DateTime<Utc>,
    role: String,
}

impl TryFrom<Row> for Membership {
    type Error = StoreError;

    fn try_from(row: Row) -> Result<Self, StoreError> {
        let role = Role::parse(&row.role)
            .ok_or_else(|| StoreError::inconsistent("members", row.id, "unknown role"))?;
        let project = Project {
            id: row.id,
            code: row.code,
            name: row.name,
            time_zone: row.time_zone,
            units: row.units,
            version: row.version,
            setup_version: row.setup_version,
            created_by: row.created_by,
            created_at: row.created_at,
        };
        Ok(Self { project, role })
    }
}

impl ProjectRef<'_> {
    /// The id or the code.
    pub(crate) fn parts(&self) -> (Option<uuid::Uuid>, Option<&str>) {
        match self {
            ProjectRef::Id(id) => (Some(id.0), None),
            ProjectRef::Code(code) => (None, Some(code)),
        }
    }
}

/// The project that `reference` names, if `user` is a member.
pub async fn find_membership(
    conn: &mut PgConnection,
    user: UserId,
    reference: ProjectRef<'_>,
) -> Result<Option<Membership>, StoreError> {
    let (id, code) = reference.parts();
    sqlx::query_as!(
        Row,
        r#"
        SELECT
            p.id, p.code, p.name, p.time_zone, p.units, p.version,
            p.setup_version, p.created_by, p.created_at, m.role
        FROM projects p
        JOIN members m ON m.project_id = p.id
        WHERE m.user_id = $1
          AND (p.id = $2 OR p.code = $3)
        "#,
        user.0,
        id,
        code
    )
    .fetch_optional(conn)
    .await
    .map_err(database("find a project"))?
    .map(Membership::try_from)
    .transpose()
}

/// The projects of `user` by code.
pub async fn list_memberships(
    conn: &mut PgConnection,
    user: UserId,
) -> Result<Vec<Membership>, StoreError> {
    sqlx::query_as!(
        Row,
        r#"
        SELECT
            p.id, p.code, p.name, p.time_zone, p.units, p.version,
            p.setup_version, p.created_by, p.created_at, m.role
        FROM projects p
        JOIN members m ON m.project_id = p.id
        WHERE m.user_id = $1
        ORDER BY p.code
        "#,
        user.0
    )
    .fetch_all(conn)
    .await
    .map_err(database("list projects"))?
    .into_iter()
    .map(Membership::try_from)
    .collect()
}

/// The zone in which a project's days are judged.
pub async fn time_zone(
    conn: &mut PgConnection,
    project: ProjectId,
) -> Result<Option<String>, StoreError> {
    sqlx::query_scalar!("SELECT time_zone FROM projects WHERE id = $1", project.0)
        .fetch_optional(conn)
        .await
        .map_err(database("find the zone of a project"))
}

/// Every project's id, for the jobs that visit all of them.
pub async fn list_ids(conn: &mut PgConnection) -> Result<Vec<ProjectId>, StoreError> {
    let ids = sqlx::query_scalar!("SELECT id FROM projects ORDER BY id")
        .fetch_all(conn)
        .await
        .map_err(database("list all projects"))?;
    Ok(ids.into_iter().map(ProjectId).collect())
}

/// Every project's id and code, for those who keep the server.
pub async fn directory(conn: &mut PgConnection) -> Result<Vec<(ProjectId, String)>, StoreError> {
    let rows = sqlx::query!("SELECT id, code FROM projects ORDER BY code")
        .fetch_all(conn)
        .await
        .map_err(database("list all projects by code"))?;
    Ok(rows.into_iter().map(|row| (ProjectId(row.id), row.code)).collect())
}

/// Adds a project; `projects_code_key` refuses a code that is taken.
pub async fn insert(conn: &mut PgConnection, project: &Project) -> Result<(), StoreError> {
    sqlx::query!(
        "
        INSERT INTO projects (
            id, code, name, time_zone, units, version, setup_version, created_by, created_at
        )
        VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)
        ",
        project.id.0,
        project.code,
        project.name,
        project.time_zone,
        project.units,
        project.version,
        project.setup_version,
        project.created_by.0,
        project.created_at
    )
    .execute(conn)
    .await
    .map_err(database("insert a project"))?;
    Ok(())
}

/// Locks the project's row until the end of the transaction; false if there is none.
pub async fn lock(conn: &mut PgConnection, id: ProjectId) -> Result<bool, StoreError> {
    let found = sqlx::query_scalar!("SELECT version FROM projects WHERE id = $1 FOR UPDATE", id.0)
        .fetch_optional(conn)
        .await
        .map_err(database("lock a project"))?;
    Ok(found.is_some())
}

/// The version of the project's set-up as a whole.
pub async fn setup_version(
    conn: &mut PgConnection,
    id: ProjectId,
) -> Result<Option<i64>, StoreError> {
    sqlx::query_scalar!("SELECT setup_version FROM projects WHERE id = $1", id.0)
        .fetch_optional(conn)
        .await
        .map_err(database("read a set-up version"))
}

/// Raises the version of the set-up and holds other changes of it back until the end of the
/// transaction.
pub async fn raise_setup_version(
    conn: &mut PgConnection,
    id: ProjectId,
) -> Result<Option<i64>, StoreError> {
    sqlx::query_scalar!(
        "
        UPDATE projects
        SET setup_version = setup_version + 1
        WHERE id = $1
        RETURNING setup_version
        ",
        id.0
    )
    .fetch_optional(conn)
    .await
    .map_err(database("raise a set-up version"))
}

/// Code and name of a project.
pub async fn named(
    conn: &mut PgConnection,
    project: ProjectId,
) -> Result<Option<(String, String)>, StoreError> {
    let row = sqlx::query!("SELECT code, name FROM projects WHERE id = $1", project.0)
        .fetch_optional(conn)
        .await
        .map_err(database("find the names of a project"))?;
    Ok(row.map(|row| (row.code, row.name)))
}
