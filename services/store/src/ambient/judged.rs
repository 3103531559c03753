//! The joints whose facts the readings of a spread can speak for.

use chrono::{DateTime, Utc};
use domain::ids::{JointId, ProjectId};
use sqlx::PgConnection;

use crate::{StoreError, error::database};

/// Where and when, and from which joint on.
#[derive(Debug, Clone)]
pub struct Around<'a> {
    /// Codes of the sections.
    pub sections: &'a [String],
    /// The first moment.
    pub from: DateTime<Utc>,
    /// The last moment.
    pub to: DateTime<Utc>,
    /// After this joint, in the order of the ids.
    pub after: Option<JointId>,
    /// At most so many.
    pub limit: i64,
}

/// The joints of these sections with a fact between the two moments that readings can speak for:
/// one of a kind that the weather is held against, without conditions read at the joint at the
/// time of the fact.
pub async fn joints(
    conn: &mut PgConnection,
    project: ProjectId,
    around: &Around<'_>,
) -> Result<Vec<JointId>, StoreError> {
    // A record is canonical JSON: a name between quotation marks with its colon stands nowhere
    // else in it, for inside a text the marks are escaped.
    let ids = sqlx::query_scalar!(
        r#"SELECT j.id FROM joints j
            WHERE j.project_id = $1 AND j.section = ANY ($2) AND ($5::uuid IS NULL OR j.id > $5)
              AND j.id IN (
                  SELECT f.joint_id FROM facts f
                   WHERE f.project_id = $1 AND f.occurred_at BETWEEN $3 AND $4
                     AND f.kind IN ('surface_prepared', 'primed', 'profiled', 'wrapped', 'repaired',
                                    'holiday_tested')
                     AND (position('"ambient":'::bytea IN f.record) = 0
                          OR position('"measured_at":'::bytea IN f.record) > 0))
            ORDER BY j.id LIMIT $6"#,
        project.0,
        around.sections,
        around.from,
        around.to,
        around.after.map(|it| it.0),
        around.limit,
    )
    .fetch_all(conn)
    .await
    .map_err(database("list the joints that readings speak for"))?;
    Ok(ids.into_iter().map(JointId).collect())
}
