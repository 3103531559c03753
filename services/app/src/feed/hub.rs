//! Watches the feeds that somebody follows: one look at the database for all of them.
//!
//! A follower holds no connection and no queue of its own, only the number up to which it has read.
//! The watcher keeps the newest entries of each project for all who follow it; whoever is further
//! behind reads from the database, a few at a time. So a slow follower costs nobody anything.

use std::{
    collections::{HashMap, VecDeque},
    sync::{Arc, Mutex, MutexGuard, PoisonError},
    time::Duration,
};

use domain::ids::{ProjectId, UserId};
use store::{PgPool, Scope, StoreError, feed::Entry};
use tokio::{
    runtime::Handle,
    sync::{Semaphore, watch},
    time::MissedTickBehavior,
};

/// Streams of one user: devices and windows of one person, not a flood.
const MOST_PER_USER: usize = 10;

/// Streams of one process; each is an open connection.
const MOST_PER_PROCESS: usize = 2000;

/// Entries of a project that are kept at hand.
const AT_HAND: usize = 1024;

/// Entries read in one go.
pub(super) const PAGE: i64 = 512;

/// Followers that may read from the database at once; the others wait their turn.
const READERS: usize = 4;

/// How often things are done for those who follow.
#[derive(Debug, Clone, Copy)]
pub struct Pace {
    /// How often the watcher looks for what is new.
    pub look: Duration,
    /// How often a follower hears that it is still connected.
    pub heartbeat: Duration,
    /// How often it is asked whether a follower may still follow.
    pub recheck: Duration,
}

impl Default for Pace {
    fn default() -> Self {
        Self {
            look: Duration::from_millis(500),
            heartbeat: Duration::from_secs(15),
            recheck: Duration::from_mins(1),
        }
    }
}

/// Why nobody more can follow right now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TooMany {
    /// The user has as many streams as one person needs.
    OfUser,
    /// The process has as many as it can serve.
    OfProcess,
}

/// Those who follow, and the one who watches for them.
#[derive(Debug, Clone)]
pub struct Hub(Arc<Inner>);

#[derive(Debug)]
struct Inner {
    pool: PgPool,
    pace: Pace,
    /// Outlives the worker thread that serves a follower.
    runtime: Option<Handle>,
    readers: Semaphore,
    closed: watch::Sender<bool>,
    state: Mutex<State>,
}

#[derive(Debug, Default)]
struct State {
    watched: HashMap<ProjectId, Watched>,
    by_user: HashMap<UserId, usize>,
    open: usize,
    is_watching: bool,
}

#[derive(Debug)]
struct Watched {
    followers: usize,
    head: watch::Sender<i64>,
    /// Without holes up to the head that the watcher has seen.
    at_hand: VecDeque<Arc<Entry>>,
}

impl Hub {
    /// Nobody follows yet.
    pub fn new(pool: PgPool, pace: Pace) -> Self {
        Self(Arc::new(Inner {
            pool,
            pace,
            runtime: Handle::try_current().ok(),
            readers: Semaphore::new(READERS),
            closed: watch::Sender::new(false),
            state: Mutex::default(),
        }))
    }

    /// How often things are done.
    pub fn pace(&self) -> Pace {
        self.0.pace
    }

    /// How many follow in this process.
    pub fn followers(&self) -> usize {
        self.state().open
    }

    /// Lets all followers go: the process stops.
    pub fn close(&self) {
        self.0.closed.send_replace(true);
    }

    /// A place among those who follow `project`; dropped, it is free.
    pub(super) fn enter(&self, user: UserId, project: ProjectId) -> Result<Place, TooMany> {
        let mut state = self.state();
        if state.open >= MOST_PER_PROCESS {
            return Err(TooMany::OfProcess);
        }
        let of_user = state.by_user.entry(user).or_default();
        if *of_user >= MOST_PER_USER {
            return Err(TooMany::OfUser);
        }
        *of_user += 1;
        state.open += 1;
        let watched = state.watched.entry(project).or_insert_with(|| Watched {
            followers: 0,
            head: watch::Sender::new(0),
            at_hand: VecDeque::new(),
        });
        watched.followers += 1;
        let head = watched.head.subscribe();
        if !state.is_watching {
            state.is_watching = true;
            let watching = watch_over(self.clone());
            match &self.0.runtime {
                Some(runtime) => drop(runtime.spawn(watching)),
                None => drop(tokio::spawn(watching)),
            }
        }
        drop(state);
        Ok(Place { hub: self.clone(), user, project, head, closed: self.0.closed.subscribe() })
    }

    /// Entries after `position` if they are at hand.
    fn at_hand(&self, project: ProjectId, position: i64) -> Option<Vec<Arc<Entry>>> {
        let state = self.state();
        let kept = &state.watched.get(&project)?.at_hand;
        let first = kept.front()?.seq;
        let skipped = usize::try_from(position + 1 - first).ok()?;
        let found: Vec<_> = kept.iter().skip(skipped).cloned().collect();
        (!found.is_empty()).then_some(found)
    }

    fn state(&self) -> MutexGuard<'_, State> {
        // Nothing that holds it can be left half done.
        self.0.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Looks once for what is new in all projects that are followed; false if none is.
    async fn look(&self) -> Result<bool, StoreError> {
        let known: Vec<(ProjectId, i64)> =
            self.state().watched.iter().map(|(id, it)| (*id, *it.head.borrow())).collect();
        if known.is_empty() {
            return Ok(false);
        }
        let ids: Vec<ProjectId> = known.iter().map(|(id, _)| *id).collect();
        let mut conn = store::acquire(&self.0.pool).await?;
        store::feed::number(&mut conn, &ids).await?;
        let heads = store::feed::heads(&mut conn, &ids).await?;
        drop(conn);
        for (project, seen) in known {
            let head = heads.get(&project).copied().unwrap_or_default();
            if head != seen {
                self.fetch(project, seen, head).await?;
            }
        }
        Ok(true)
    }

    /// Takes at hand what came after `seen`, and tells the followers.
    async fn fetch(&self, project: ProjectId, seen: i64, head: i64) -> Result<(), StoreError> {
        // At first, or after a flood, nothing is at hand; whoever is behind reads for itself.
        let few = seen > 0 && (0..=PAGE).contains(&(head - seen));
        let new = if few { self.read(project, seen).await? } else { Vec::new() };
        let mut state = self.state();
        let Some(watched) = state.watched.get_mut(&project) else { return Ok(()) };
        let follows = new.first().is_some_and(|it| it.seq == seen + 1);
        let head = if follows { new.last().map_or(head, |it| it.seq) } else { head };
        if follows {
            watched.at_hand.extend(new.into_iter().map(Arc::new));
            let surplus = watched.at_hand.len().saturating_sub(AT_HAND);
            watched.at_hand.drain(..surplus);
        } else {
            watched.at_hand.clear();
        }
        watched.head.send_replace(head);
        Ok(())
    }

    async fn read(&self, project: ProjectId, after: i64) -> Result<Vec<Entry>, StoreError> {
        let scope = Scope { project: Some(project), user: None };
        let mut tx = store::begin(&self.0.pool, scope).await?;
        store::feed::after(&mut tx, project, after, PAGE).await
    }
}

/// Looks as long as anybody follows.
async fn watch_over(hub: Hub) {
    let mut closed = hub.0.closed.subscribe();
    let mut turn = tokio::time::interval(hub.0.pace.look);
    turn.set_missed_tick_behavior(MissedTickBehavior::Delay);
    loop {
        tokio::select! {
            _ = closed.wait_for(|closed| *closed) => return,
            _ = turn.tick() => {}
        }
        match hub.look().await {
            Ok(true) => {}
            Ok(false) => {
                let mut state = hub.state();
                // Somebody may have come in the meantime.
                if state.watched.is_empty() {
                    state.is_watching = false;
                    return;
                }
            }
            Err(error) => tracing::warn!(%error, "could not look for changes; again in a moment"),
        }
    }
}

/// Somebody's place among the followers.
#[derive(Debug)]
pub(super) struct Place {
    hub: Hub,
    user: UserId,
    project: ProjectId,
    head: watch::Receiver<i64>,
    closed: watch::Receiver<bool>,
}

impl Place {
    /// The newest number that the watcher has seen; 0 before its first look.
    pub fn head(&mut self) -> i64 {
        *self.head.borrow_and_update()
    }

    /// Waits until the watcher sees something new; false if the process stops.
    pub async fn moved(&mut self) -> bool {
        tokio::select! {
            _ = self.closed.wait_for(|closed| *closed) => false,
            changed = self.head.changed() => changed.is_ok(),
        }
    }

    /// Whether the process stops.
    pub fn is_closed(&self) -> bool {
        *self.closed.borrow()
    }

    /// The entries after `position`, from hand or from the database.
    pub async fn read(&self, position: i64) -> Result<Vec<Arc<Entry>>, StoreError> {
        if let Some(found) = self.hub.at_hand(self.project, position) {
            return Ok(found);
        }
        // It is never closed, so there is always a turn.
        let _turn = self.hub.0.readers.acquire().await.ok();
        let read = self.hub.read(self.project, position).await?;
        Ok(read.into_iter().map(Arc::new).collect())
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        let mut state = self.hub.state();
        state.open -= 1;
        if let Some(of_user) = state.by_user.get_mut(&self.user) {
            *of_user -= 1;
            if *of_user == 0 {
                state.by_user.remove(&self.user);
            }
        }
        if let Some(watched) = state.watched.get_mut(&self.project) {
            watched.followers -= 1;
            if watched.followers == 0 {
                state.watched.remove(&self.project);
            }
        }
    }
}
