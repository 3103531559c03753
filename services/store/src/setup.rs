//! Set-up items, as they are and as they were.

use chrono::{DateTime, Utc};
use domain::{
    ids::{ProjectId, UserId},
    setup::{Kind, Reference},
};
use serde_json::Value;
use sqlx::PgConnection;

use crate::{StoreError, error::database};

/// One version of an item.
#[derive(Debug, Clone, PartialEq)]
pub struct StoredItem {
    /// Its code.
    pub code: String,
    /// From 1.
    pub version: i64,
    /// The item as JSON.
    pub body: Value,
    /// Who wrote this version.
    pub changed_by: UserId,
    /// When.
    pub changed_at: DateTime<Utc>,
}

/// The whole set-up of a project at one version.
#[derive(Debug, Clone)]
pub struct Everything {
    /// Its version.
    pub setup_version: i64,
    /// IANA name.
    pub time_zone: String,
    /// Kind, code and body of every item.
    pub items: Vec<(Kind, String, Value)>,
}

/// The item `code` of `kind`.
pub async fn find(
    conn: &mut PgConnection,
    project: ProjectId,
    kind: Kind,
    code: &str,
) -> Result<Option<StoredItem>, StoreError> {
    sqlx::query_as!(
        StoredItem,
        r#"
        SELECT code, version, body, changed_by, changed_at
        FROM setup_items
        WHERE project_id = $1 AND kind = $2 AND code = $3
        "#,
        project.0,
        kind.name(),
        code
    )
    .fetch_optional(conn)
    .await
    .map_err(database("find a set-up item"))
}

/// Items of `kind` by code, those after `after`.
pub async fn list(
    conn: &mut PgConnection,
    project: ProjectId,
    kind: Kind,
    after: Option<&str>,
    limit: i64,
) -> Result<Vec<StoredItem>, StoreError> {
    sqlx::query_as!(
        StoredItem,
        r#"
        SELECT code, version, body, changed_by, changed_at
        FROM setup_items
        WHERE project_id = $1 AND kind = $2 AND code > coalesce($3, '')
        ORDER BY code
        LIMIT $4
        "#,
        project.0,
        kind.name(),
        after,
        limit
    )
    .fetch_all(conn)
    .await
    .map_err(database("list set-up items"))
}

/// Every version of an item, the latest first.
pub async fn history(
    conn: &mut PgConnection,
    project: ProjectId,
    kind: Kind,
    code: &str,
) -> Result<Vec<StoredItem>, StoreError> {
    sqlx::query_as!(
        StoredItem,
        r#"
        SELECT code, version, body, changed_by, changed_at
        FROM setup_history
        WHERE project_id = $1 AND kind = $2 AND code = $3
        ORDER BY version DESC
        "#,
        project.0,
        kind.name(),
        code
    )
    .fetch_all(conn)
    .await
    .map_err(database("list the history of a set-up item"))
}

/// Every item of `project` and the version of the whole; none if there is no such project.
///
/// One statement, so that the version belongs to the items whatever happens meanwhile.
pub async fn everything(
    conn: &mut PgConnection,
    project: ProjectId,
) -> Result<Option<Everything>, StoreError> {
    let rows = sqlx::query!(
        r#"
        SELECT
            p.setup_version,
            p.time_zone,
            -- The outer join gives a project without items one row without an item.
            i.kind AS "kind?",
            i.code AS "code?",
            i.body AS "body?"
        FROM projects p
        LEFT JOIN setup_items i ON i.project_id = p.id
        WHERE p.id = $1
        "#,
        project.0
    )
    .fetch_all(conn)
    .await
    .map_err(database("read the set-up of a project"))?;
    let Some(first) = rows.first() else { return Ok(None) };
    let (setup_version, time_zone) = (first.setup_version, first.time_zone.clone());
    let mut items = Vec::with_capacity(rows.len());
    for row in rows {
        let (Some(name), Some(code), Some(body)) = (row.kind, row.code, row.body) else { continue };
        let Some(kind) = Kind::parse(&name) else {
            let id = format!("{project} {name} {code}");
            return Err(StoreError::inconsistent("setup_items", id, "unknown kind"));
        };
        items.push((kind, code, body));
    }
    Ok(Some(Everything { setup_version, time_zone, items }))
}

/// Those of `references` whose item is not there.
pub async fn missing(
    conn: &mut PgConnection,
    project: ProjectId,
    references: Vec<Reference>,
) -> Result<Vec<Reference>, StoreError> {
    if references.is_empty() {
        return Ok(references);
    }
    let kinds: Vec<String> = references.iter().map(|it| it.kind.name().to_owned()).collect();
    let codes: Vec<String> = references.iter().map(|it| it.code.clone()).collect();
    let found = sqlx::query!(
        r#"
        SELECT i.kind, i.code
        FROM setup_items i
        JOIN unnest($2::text[], $3::text[]) AS named (kind, code)
          ON named.kind = i.kind AND named.code = i.code
        WHERE i.project_id = $1
        "#,
        project.0,
        &kinds,
        &codes
    )
    .fetch_all(conn)
    .await
    .map_err(database("look for set-up items"))?;
    let is_there =
        |it: &Reference| found.iter().any(|row| row.kind == it.kind.name() && row.code == it.code);
    Ok(references.into_iter().filter(|it| !is_there(it)).collect())
}

/// Adds the first version of an item; `setup_items_pkey` refuses one that is there.
pub async fn insert(
    conn: &mut PgConnection,
    project: ProjectId,
    kind: Kind,
    item: &StoredItem,
) -> Result<(), StoreError> {
    sqlx::query!(
        "
        INSERT INTO setup_items (
            project_id, kind, code, version, body, changed_by, changed_at
        )
        VALUES ($1, $2, $3, $4, $5, $6, $7)
        ",
        project.0,
        kind.name(),
        item.code,
        item.version,
        item.body,
        item.changed_by.0,
        item.changed_at
    )
    .execute(&mut *conn)
    .await
    .map_err(database("insert a set-up item"))?;
    append_history(conn, project, kind, item).await
}

/// Puts `item` in the place of the version before it; false if that is not the version there.
pub async fn update(
    conn: &mut PgConnection,
    project: ProjectId,
    kind: Kind,
    item: &StoredItem,
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "
        UPDATE setup_items
        SET version = $4, body = $5, changed_by = $6, changed_at = $7
        WHERE project_id = $1 AND kind = $2 AND code = $3 AND version + 1 = $4
        ",
        project.0,
        kind.name(),
        item.code,
        item.version,
        item.body,
        item.changed_by.0,
        item.changed_at
    )
    .execute(&mut *conn)
    .await
    .map_err(database("update a set-up item"))?;
    if done.rows_affected() == 0 {
        return Ok(false);
    }
    append_history(conn, project, kind, item).await?;
    Ok(true)
}

async fn append_history(
    conn: &mut PgConnection,
    project: ProjectId,
    kind: Kind,
    item: &StoredItem,
) -> Result<(), StoreError> {
    sqlx::query!(
        "
        INSERT INTO setup_history (
            project_id, kind, code, version, body, changed_by, changed_at
        )
        VALUES ($1, $2, $3, $4, $5, $6, $7)
        ",
        project.0,
        kind.name(),
        item.code,
        item.version,
        item.body,
        item.changed_by.0,
        item.changed_at
    )
    .execute(conn)
    .await
    .map_err(database("append to the history of a set-up item"))?;
    Ok(())
}
