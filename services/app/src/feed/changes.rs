//! Reads what has changed in a project, page by page.

use domain::ids::ProjectId;
use store::feed::{Entry, Kept};

use crate::{App, AppError, projects::ProjectEntry};

/// A page of changes.
#[derive(Debug, Clone)]
pub struct Changes {
    /// In the order in which they became visible, without holes.
    pub items: Vec<Entry>,
    /// Where to read on.
    pub next_after: i64,
    /// Which entries there are.
    pub kept: Kept,
}

/// The changes of a project after number `after`, at most `limit`.
///
/// Without `after` there are none: the answer says where the feed stands, for whoever reads a
/// snapshot next and follows from there.
pub async fn changes(
    app: &App,
    project: &ProjectEntry,
    after: Option<i64>,
    limit: u32,
) -> Result<Changes, AppError> {
    number(app, project.id).await?;
    let mut tx = app.begin_in(project.id).await?;
    let kept = store::feed::kept(&mut tx, project.id).await?;
    let Some(after) = after else {
        return Ok(Changes { items: Vec::new(), next_after: kept.head, kept });
    };
    if !can_go_on(kept, after) {
        return Err(gone(project.id, after, kept));
    }
    let items = store::feed::after(&mut tx, project.id, after, i64::from(limit)).await?;
    // Upkeep may have been at work between the two looks.
    if items.first().is_some_and(|first| first.seq != after + 1) {
        return Err(gone(project.id, after, kept));
    }
    let next_after = items.last().map_or(after, |last| last.seq);
    Ok(Changes { items, next_after, kept })
}

/// Gives numbers to what has changed up to now in `project`, as every reading begins.
pub(crate) async fn number(app: &App, project: ProjectId) -> Result<(), AppError> {
    let mut conn = app.connection().await?;
    Ok(store::feed::number(&mut conn, &[project]).await?)
}

/// Whether everything after number `after` is still there, and `after` itself was ever given.
pub(super) const fn can_go_on(kept: Kept, after: i64) -> bool {
    kept.oldest - 1 <= after && after <= kept.head
}

fn gone(project: ProjectId, after: i64, kept: Kept) -> AppError {
    tracing::info!(project.id = %project, after, kept.oldest, kept.head, "the feed has moved on");
    let detail = if after > kept.head {
        format!(
            "number {after} was never given, the newest is {}: ask for changes without `after`, \
             read what you keep a copy of, and follow from `next_after`",
            kept.head
        )
    } else {
        format!(
            "what came after number {after} is no longer kept, the oldest is {}: ask for changes \
             without `after`, read what you keep a copy of, and follow from `next_after`",
            kept.oldest
        )
    };
    AppError::Gone { code: "FEED_GONE", detail }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_can_go_on_from_just_before_the_oldest_up_to_the_head() {
        let kept = Kept { oldest: 5, head: 9 };
        let fits: Vec<i64> = (0..12).filter(|after| can_go_on(kept, *after)).collect();
        assert_eq!(fits, [4, 5, 6, 7, 8, 9]);
        let empty = Kept { oldest: 1, head: 0 };
        assert!(can_go_on(empty, 0) && !can_go_on(empty, 1) && !can_go_on(empty, -1));
        let forgotten = Kept { oldest: 10, head: 9 };
        assert!(can_go_on(forgotten, 9) && !can_go_on(forgotten, 8));
    }
}
