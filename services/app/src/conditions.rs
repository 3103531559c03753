//! Conditions that somebody must see become warnings, and warnings end with them.

use chrono::{DateTime, Utc};
use domain::{condition::Condition, ids::ProjectId};
use store::{
    PgConnection,
    warnings::{Raised, clear_others, raise},
};

use crate::{AppError, new_id};

/// Raises or updates a warning for each of `seen`, and ends the open ones of `kinds` that are about
/// something else; returns how many ended. Done twice, it says the same.
pub(crate) async fn keep_warnings(
    conn: &mut PgConnection,
    project: ProjectId,
    seen: &[Condition],
    kinds: &[&str],
    now: DateTime<Utc>,
) -> Result<i64, AppError> {
    for condition in seen {
        let warning = Raised {
            id: new_id(now),
            kind: condition.kind,
            subject: &condition.subject,
            severity: condition.urgency.name(),
            detail: &condition.detail,
            values: condition.values.clone(),
        };
        raise(conn, project, &warning, now).await?;
    }
    let mut ended = 0;
    for kind in kinds {
        let still = seen.iter().filter(|it| it.kind == *kind).map(|it| it.subject.clone());
        let still: Vec<String> = still.collect();
        let cleared = clear_others(conn, project, kind, &still, now).await?;
        ended += i64::try_from(cleared).unwrap_or(i64::MAX);
    }
    Ok(ended)
}
