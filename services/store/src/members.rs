//! Who may enter a project.

use domain::{
    access::Role,
    ids::{ProjectId, UserId},
};
use sqlx::PgConnection;

use crate::{StoreError, error::database};

/// A member of a project.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Member {
    /// Who.
    pub user: UserId,
    /// Printed name.
    pub name: String,
    /// E-mail.
    pub email: String,
    /// As what.
    pub role: Role,
    /// Its entity tag.
    pub version: i64,
}

struct Row {
    user: UserId,
    name: String,
    email: String,
    role: String,
    version: i64,
}

impl TryFrom<Row> for Member {
    type Error = StoreError;

    fn try_from(row: Row) -> Result<Self, StoreError> {
        let role = Role::parse(&row.role)
            .ok_or_else(|| StoreError::inconsistent("members", row.user, "unknown role"))?;
        let Row { user, name, email, version, .. } = row;
        Ok(Self { user, name, email, role, version })
    }
}

/// The members of `project` by e-mail.
pub async fn list(conn: &mut PgConnection, project: ProjectId) -> Result<Vec<Member>, StoreError> {
    sqlx::query_as!(
        Row,
        r#"
        SELECT m.user_id AS "user!", u.name, u.email, m.role, m.version
        FROM members m
        JOIN users u ON u.id = m.user_id
        WHERE m.project_id = $1
        ORDER BY u.email
        "#,
        project.0
    )
    .fetch_all(conn)
    .await
    .map_err(database("list members"))?
    .into_iter()
    .map(Member::try_from)
    .collect()
}

/// The member `user` of `project`.
pub async fn find(
    conn: &mut PgConnection,
    project: ProjectId,
    user: UserId,
) -> Result<Option<Member>, StoreError> {
    sqlx::query_as!(
        Row,
        r#"
        SELECT m.user_id AS "user!", u.name, u.email, m.role, m.version
        FROM members m
        JOIN users u ON u.id = m.user_id
        WHERE m.project_id = $1 AND m.user_id = $2
        "#,
        project.0,
        user.0
    )
    .fetch_optional(conn)
    .await
    .map_err(database("find a member"))?
    .map(Member::try_from)
    .transpose()
}

/// How many members of `project` have `role`.
pub async fn count(
    conn: &mut PgConnection,
    project: ProjectId,
    role: Role,
) -> Result<i64, StoreError> {
    sqlx::query_scalar!(
        r#"SELECT count(*) AS "count!" FROM members WHERE project_id = $1 AND role = $2"#,
        project.0,
        role.name()
    )
    .fetch_one(conn)
    .await
    .map_err(database("count members"))
}

/// Adds a member; `members_user_id_fkey` refuses a user that does not exist.
pub async fn insert(
    conn: &mut PgConnection,
    project: ProjectId,
    user: UserId,
    role: Role,
) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO members (project_id, user_id, role, version) VALUES ($1, $2, $3, 1)",
        project.0,
        user.0,
        role.name()
    )
    .execute(conn)
    .await
    .map_err(database("insert a member"))?;
    Ok(())
}

/// Gives a member another role; false if there is none at `version`.
pub async fn update_role(
    conn: &mut PgConnection,
    project: ProjectId,
    user: UserId,
    version: i64,
    role: Role,
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "
        UPDATE members
        SET role = $4, version = version + 1
        WHERE project_id = $1 AND user_id = $2 AND version = $3
        ",
        project.0,
        user.0,
        version,
        role.name()
    )
    .execute(conn)
    .await
    .map_err(database("change the role of a member"))?;
    Ok(done.rows_affected() == 1)
}

/// Removes a member; false if there is none.
pub async fn delete(
    conn: &mut PgConnection,
    project: ProjectId,
    user: UserId,
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "DELETE FROM members WHERE project_id = $1 AND user_id = $2",
        project.0,
        user.0
    )
    .execute(conn)
    .await
    .map_err(database("remove a member"))?;
    Ok(done.rows_affected() == 1)
}
