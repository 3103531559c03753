//! Follows the feed of a project as it grows.

use std::sync::Arc;

use domain::ids::ProjectId;
use store::{
    feed::{Entry, Kept},
    projects::ProjectRef,
};

use super::{
    changes::{can_go_on, number},
    hub::{Place, TooMany},
};
use crate::{Actor, App, AppError, projects::ProjectEntry};

/// Where a stream begins.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Start {
    /// Right after the number that the follower has; now, if it has none.
    After(i64),
    /// Now, because what the follower has missed is not kept: it has to read a snapshot.
    Reset(Kept),
}

/// What a follower gets next.
#[derive(Debug, Clone)]
pub enum News {
    /// The next entries, without holes.
    Entries(Vec<Arc<Entry>>),
    /// The follower was so slow that the next entry is not kept: it has to read a snapshot.
    Reset(Kept),
    /// The process stops.
    End,
}

/// Somebody who follows.
pub struct Subscription {
    app: App,
    project: ProjectId,
    position: i64,
    /// At least up to here there are entries.
    target: i64,
    place: Place,
}

/// Follows `project` from after number `last` on, or from now.
pub async fn follow(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    last: Option<i64>,
) -> Result<Result<(Subscription, Start), TooMany>, AppError> {
    // First the place, then the look: what comes in between is seen by the watcher.
    let place = match app.hub.enter(actor.user, project.id) {
        Ok(place) => place,
        Err(many) => return Ok(Err(many)),
    };
    number(app, project.id).await?;
    let mut tx = app.begin_in(project.id).await?;
    let kept = store::feed::kept(&mut tx, project.id).await?;
    let start = match last {
        Some(last) if can_go_on(kept, last) => Start::After(last),
        Some(_) => Start::Reset(kept),
        None => Start::After(kept.head),
    };
    let position = match start {
        Start::After(last) => last,
        Start::Reset(kept) => kept.head,
    };
    let (app, project, target) = (app.clone(), project.id, kept.head);
    Ok(Ok((Subscription { app, project, position, target, place }, start)))
}

impl Subscription {
    /// The number up to which everything was given out.
    pub fn position(&self) -> i64 {
        self.position
    }

    /// Waits for what comes next. Given up half-way, nothing is lost.
    pub async fn next(&mut self) -> Result<News, AppError> {
        loop {
            if self.place.is_closed() {
                return Ok(News::End);
            }
            self.target = self.target.max(self.place.head());
            if self.position >= self.target {
                if self.place.moved().await {
                    continue;
                }
                return Ok(News::End);
            }
            let entries = self.place.read(self.position).await?;
            match (entries.first(), entries.last()) {
                (Some(first), Some(last)) if first.seq == self.position + 1 => {
                    self.position = last.seq;
                    return Ok(News::Entries(entries));
                }
                _ => {
                    let mut tx = self.app.begin_in(self.project).await?;
                    let kept = store::feed::kept(&mut tx, self.project).await?;
                    (self.position, self.target) = (kept.head, kept.head);
                    return Ok(News::Reset(kept));
                }
            }
        }
    }
}

/// Whether `actor` is still signed in and a member of `project`.
pub async fn may_follow(app: &App, actor: &Actor, project: ProjectId) -> Result<bool, AppError> {
    let mut tx = app.begin_as(actor.user).await?;
    let now = app.clock.now();
    let holder = store::sessions::holder(&mut tx, actor.session, actor.user, now).await?;
    let reference = ProjectRef::Id(project);
    let member = store::projects::find_membership(&mut tx, actor.user, reference).await?;
    Ok(holder.is_some() && member.is_some())
}
