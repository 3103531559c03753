//! Uploaded files, their parts, checked rows and row errors.

use chrono::{DateTime, Utc};
use domain::{
    ids::{ImportId, ProjectId, UserId},
    joints::RegisterEntry,
    register::RowError,
};
use serde_json::Value;
use sqlx::PgConnection;

use crate::{StoreError, error::database};

/// An upload and how far its check has come.
#[derive(Debug, Clone)]
pub struct Import {
    /// Id.
    pub id: ImportId,
    /// Kind.
    pub kind: String,
    /// Nothing is to be stored.
    pub validate_only: bool,
    /// waiting, checking, valid, stored or refused.
    pub status: String,
    /// Size of the file.
    pub bytes_total: i64,
    /// Where the next run goes on.
    pub next_part: i32,
    /// The unfinished last line.
    pub carry: Vec<u8>,
    /// The header line as it was read.
    pub header: Option<String>,
    /// `,` or `;`.
    pub delimiter: Option<String>,
    /// Rows checked.
    pub rows_checked: i64,
    /// Rows with errors.
    pub rows_wrong: i64,
    /// Rows stored.
    pub rows_stored: i64,
    /// When.
    pub created_at: DateTime<Utc>,
    /// Who.
    pub created_by: UserId,
    /// When its job ended.
    pub finished_at: Option<DateTime<Utc>>,
}

/// Opens an import.
pub async fn insert(
    conn: &mut PgConnection,
    project: ProjectId,
    (id, kind, validate_only): (ImportId, &str, bool),
    by: UserId,
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO imports (project_id, id, kind, validate_only, status, bytes_total, created_at,
                              created_by)
         VALUES ($1, $2, $3, $4, 'waiting', 0, $5, $6)",
        project.0,
        id.0,
        kind,
        validate_only,
        at,
        by.0,
    )
    .execute(conn)
    .await
    .map_err(database("open an import"))?;
    Ok(())
}

/// Stores the next part of the file.
pub async fn insert_part(
    conn: &mut PgConnection,
    project: ProjectId,
    import: ImportId,
    part: i32,
    bytes: &[u8],
) -> Result<(), StoreError> {
    sqlx::query!(
        "WITH stored AS (
             INSERT INTO import_parts (project_id, import_id, part, bytes) VALUES ($1, $2, $3, $4)
         )
         UPDATE imports SET bytes_total = bytes_total + octet_length($4)
          WHERE project_id = $1 AND id = $2",
        project.0,
        import.0,
        part,
        bytes,
    )
    .execute(conn)
    .await
    .map_err(database("store a part of an import"))?;
    Ok(())
}

/// Finds an import.
pub async fn find(
    conn: &mut PgConnection,
    project: ProjectId,
    import: ImportId,
) -> Result<Option<Import>, StoreError> {
    sqlx::query_as!(
        Import,
        r#"SELECT id, kind, validate_only, status, bytes_total, next_part, carry,
                  header, delimiter, rows_checked, rows_wrong, rows_stored, created_at,
                  created_by, finished_at
             FROM imports WHERE project_id = $1 AND id = $2"#,
        project.0,
        import.0,
    )
    .fetch_optional(conn)
    .await
    .map_err(database("find an import"))
}

/// Finds an import and holds it, so that two workers cannot take the same step.
pub async fn lock(
    conn: &mut PgConnection,
    project: ProjectId,
    import: ImportId,
) -> Result<Option<Import>, StoreError> {
    sqlx::query_as!(
        Import,
        r#"SELECT id, kind, validate_only, status, bytes_total, next_part, carry,
                  header, delimiter, rows_checked, rows_wrong, rows_stored, created_at,
                  created_by, finished_at
             FROM imports WHERE project_id = $1 AND id = $2 FOR UPDATE"#,
        project.0,
        import.0,
    )
    .fetch_optional(conn)
    .await
    .map_err(database("lock an import"))
}

/// Reads a part; none after the last.
pub async fn part(
    conn: &mut PgConnection,
    project: ProjectId,
    import: ImportId,
    part: i32,
) -> Result<Option<Vec<u8>>, StoreError> {
    sqlx::query_scalar!(
        "SELECT bytes FROM import_parts WHERE project_id = $1 AND import_id = $2 AND part = $3",
        project.0,
        import.0,
        part,
    )
    .fetch_optional(conn)
    .await
    .map_err(database("read a part of an import"))
}

/// Keeps how far the check has come.
pub async fn save(
    conn: &mut PgConnection,
    project: ProjectId,
    import: &Import,
) -> Result<(), StoreError> {
    sqlx::query!(
        "UPDATE imports SET status = $3, next_part = $4, carry = $5, header = $6, delimiter = $7,
                rows_checked = $8, rows_wrong = $9, rows_stored = $10, finished_at = $11
          WHERE project_id = $1 AND id = $2",
        project.0,
        import.id.0,
        import.status,
        import.next_part,
        import.carry,
        import.header,
        import.delimiter,
        import.rows_checked,
        import.rows_wrong,
        import.rows_stored,
        import.finished_at,
    )
    .execute(conn)
    .await
    .map_err(database("keep the progress of an import"))?;
    Ok(())
}

/// Keeps checked rows.
pub async fn insert_rows(
    conn: &mut PgConnection,
    project: ProjectId,
    import: ImportId,
    rows: &[(i64, RegisterEntry)],
) -> Result<(), StoreError> {
    let numbers: Vec<i64> = rows.iter().map(|(row, _)| *row).collect();
    let joints: Vec<String> = rows.iter().map(|(_, entry)| entry.joint_number.clone()).collect();
    let entries: Result<Vec<Value>, _> =
        rows.iter().map(|(_, entry)| serde_json::to_value(entry)).collect();
    let entries = entries.map_err(|it| StoreError::inconsistent("import_rows", import, it))?;
    sqlx::query!(
        "INSERT INTO import_rows (project_id, import_id, row_number, joint_number, entry)
         SELECT $1, $2, t.row, t.joint, t.entry
           FROM unnest($3::bigint[], $4::text[], $5::jsonb[]) AS t (row, joint, entry)",
        project.0,
        import.0,
        &numbers,
        &joints,
        &entries,
    )
    .execute(conn)
    .await
    .map_err(database("keep checked rows"))?;
    Ok(())
}

/// Keeps row errors.
pub async fn insert_errors(
    conn: &mut PgConnection,
    project: ProjectId,
    import: ImportId,
    errors: &[RowError],
) -> Result<(), StoreError> {
    let rows: Vec<i64> = errors.iter().map(|it| i64::try_from(it.row).unwrap_or(0)).collect();
    let columns: Vec<String> = errors.iter().map(|it| it.column.clone()).collect();
    let codes: Vec<String> = errors.iter().map(|it| it.code.clone()).collect();
    let details: Vec<String> = errors.iter().map(|it| it.detail.clone()).collect();
    sqlx::query!(
        "INSERT INTO import_errors (project_id, import_id, row_number, column_name, code, detail)
         SELECT $1, $2, * FROM unnest($3::bigint[], $4::text[], $5::text[], $6::text[])
             ON CONFLICT DO NOTHING",
        project.0,
        import.0,
        &rows,
        &columns,
        &codes,
        &details,
    )
    .execute(conn)
    .await
    .map_err(database("keep row errors"))?;
    Ok(())
}

/// Row errors in the order of the file, after `after`.
pub async fn errors(
    conn: &mut PgConnection,
    project: ProjectId,
    import: ImportId,
    limit: i64,
) -> Result<Vec<RowError>, StoreError> {
    let rows = sqlx::query!(
        "SELECT row_number, column_name, code, detail FROM import_errors
          WHERE project_id = $1 AND import_id = $2 ORDER BY row_number, column_name, code LIMIT $3",
        project.0,
        import.0,
        limit,
    )
    .fetch_all(conn)
    .await
    .map_err(database("read row errors"))?;
    let errors = rows.into_iter().map(|row| RowError {
        row: row.row_number.unsigned_abs(),
        column: row.column_name,
        code: row.code,
        detail: row.detail,
    });
    Ok(errors.collect())
}

/// Joint numbers that stand twice in the file, and those that the register holds already:
/// row, number, and the row they stood in first (none where it is the register).
pub async fn repeated(
    conn: &mut PgConnection,
    project: ProjectId,
    import: ImportId,
) -> Result<Vec<(i64, String, Option<i64>)>, StoreError> {
    let rows = sqlx::query!(
        r#"SELECT row_number AS "row!", joint_number AS "number!", first_row AS "first?" FROM (
               SELECT row_number, joint_number,
                      min(row_number) OVER (PARTITION BY joint_number) AS first_row
                 FROM import_rows WHERE project_id = $1 AND import_id = $2
           ) AS in_file WHERE row_number > first_row
           UNION ALL
           SELECT r.row_number, r.joint_number, NULL
             FROM import_rows r
             JOIN joints j ON j.project_id = r.project_id AND j.joint_number = r.joint_number
            WHERE r.project_id = $1 AND r.import_id = $2
            ORDER BY 1"#,
        project.0,
        import.0,
    )
    .fetch_all(conn)
    .await
    .map_err(database("look for repeated joint numbers"))?;
    Ok(rows.into_iter().map(|row| (row.row, row.number, row.first)).collect())
}

/// Checked rows in the order of the file, after `after`.
pub async fn rows_after(
    conn: &mut PgConnection,
    project: ProjectId,
    import: ImportId,
    after: i64,
    limit: i64,
) -> Result<Vec<(i64, RegisterEntry)>, StoreError> {
    let rows = sqlx::query!(
        "SELECT row_number, entry FROM import_rows
          WHERE project_id = $1 AND import_id = $2 AND row_number > $3
          ORDER BY row_number LIMIT $4",
        project.0,
        import.0,
        after,
        limit,
    )
    .fetch_all(conn)
    .await
    .map_err(database("read checked rows"))?;
    let entries = rows.into_iter().map(|row| {
        let entry = serde_json::from_value(row.entry)
            .map_err(|it| StoreError::inconsistent("import_rows", import, it))?;
        Ok((row.row_number, entry))
    });
    entries.collect()
}

/// Drops the parts and checked rows of an import that has ended.
pub async fn drop_working_data(
    conn: &mut PgConnection,
    project: ProjectId,
    import: ImportId,
) -> Result<(), StoreError> {
    sqlx::query!(
        "WITH parts AS (DELETE FROM import_parts WHERE project_id = $1 AND import_id = $2)
         DELETE FROM import_rows WHERE project_id = $1 AND import_id = $2",
        project.0,
        import.0,
    )
    .execute(conn)
    .await
    .map_err(database("drop the working data of an import"))?;
    Ok(())
}
