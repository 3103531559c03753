//! People who sign in.

use chrono::{DateTime, Utc};
use domain::ids::UserId;
use sqlx::PgConnection;

use crate::{StoreError, error::database};

/// A user, without the password.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct User {
    /// Its id.
    pub id: UserId,
    /// Lower case.
    pub email: String,
    /// Printed name.
    pub name: String,
    /// May create users and projects.
    pub is_administrator: bool,
    /// Since when refused.
    pub disabled_at: Option<DateTime<Utc>>,
    /// When it was created.
    pub created_at: DateTime<Utc>,
}

/// What signing in needs.
#[derive(Clone)]
pub struct Credentials {
    /// Whose.
    pub user: UserId,
    /// PHC string.
    pub password_hash: String,
    /// Whether the user is refused all the same.
    pub disabled: bool,
}

/// The user `id`.
pub async fn find(conn: &mut PgConnection, id: UserId) -> Result<Option<User>, StoreError> {
    sqlx::query_as!(
        User,
        r#"
        SELECT id, email, name, is_administrator, disabled_at, created_at
        FROM users
        WHERE id = $1
        "#,
        id.0
    )
    .fetch_optional(conn)
    .await
    .map_err(database("find a user"))
}

/// Users by e-mail, those after `after`.
pub async fn list(
    conn: &mut PgConnection,
    after: Option<&str>,
    limit: i64,
) -> Result<Vec<User>, StoreError> {
    sqlx::query_as!(
        User,
        r#"
        SELECT id, email, name, is_administrator, disabled_at, created_at
        FROM users
        WHERE email > coalesce($1, '')
        ORDER BY email
        LIMIT $2
        "#,
        after,
        limit
    )
    .fetch_all(conn)
    .await
    .map_err(database("list users"))
}

/// What signing in as `email` needs.
pub async fn credentials(
    conn: &mut PgConnection,
    email: &str,
) -> Result<Option<Credentials>, StoreError> {
    sqlx::query_as!(
        Credentials,
        r#"
        SELECT id AS "user!", password_hash, disabled_at IS NOT NULL AS "disabled!"
        FROM users
        WHERE email = $1
        "#,
        email
    )
    .fetch_optional(conn)
    .await
    .map_err(database("find credentials"))
}

/// The password hash of `id`, unless the user is disabled.
pub async fn password_hash(
    conn: &mut PgConnection,
    id: UserId,
) -> Result<Option<String>, StoreError> {
    sqlx::query_scalar!(
        "SELECT password_hash FROM users WHERE id = $1 AND disabled_at IS NULL",
        id.0
    )
    .fetch_optional(conn)
    .await
    .map_err(database("find a password"))
}

/// Adds a user; `users_email_key` refuses an e-mail that is taken.
pub async fn insert(
    conn: &mut PgConnection,
    user: &User,
    password_hash: &str,
) -> Result<(), StoreError> {
    sqlx::query!(
        "
        INSERT INTO users (id, email, name, password_hash, is_administrator, created_at)
        VALUES ($1, $2, $3, $4, $5, $6)
        ",
        user.id.0,
        user.email,
        user.name,
        password_hash,
        user.is_administrator,
        user.created_at
    )
    .execute(conn)
    .await
    .map_err(database("insert a user"))?;
    Ok(())
}

/// Replaces the password of `id`.
pub async fn set_password_hash(
    conn: &mut PgConnection,
    id: UserId,
    password_hash: &str,
) -> Result<bool, StoreError> {
    let done =
        sqlx::query!("UPDATE users SET password_hash = $2 WHERE id = $1", id.0, password_hash)
            .execute(conn)
            .await
            .map_err(database("replace a password"))?;
    Ok(done.rows_affected() == 1)
}

/// Disables `id` since `disabled_at`, or enables it again.
pub async fn set_disabled_at(
    conn: &mut PgConnection,
    id: UserId,
    disabled_at: Option<DateTime<Utc>>,
) -> Result<bool, StoreError> {
    let done = sqlx::query!("UPDATE users SET disabled_at = $2 WHERE id = $1", id.0, disabled_at)
        .execute(conn)
        .await
        .map_err(database("disable a user"))?;
    Ok(done.rows_affected() == 1)
}

/// Whether anybody is a system administrator.
pub async fn has_administrator(conn: &mut PgConnection) -> Result<bool, StoreError> {
    sqlx::query_scalar!(
        r#"SELECT EXISTS (SELECT 1 FROM users WHERE is_administrator) AS "exists!""#
    )
    .fetch_one(conn)
    .await
    .map_err(database("look for an administrator"))
}
