//! Set-ups that were read, kept while they are in force.

use std::{
    collections::HashMap,
    sync::{Arc, Mutex, MutexGuard, PoisonError},
};

use domain::{ids::ProjectId, setup::ProjectSetup};

/// More projects than one server works on at a time.
const CAPACITY: usize = 256;

type Kept = HashMap<ProjectId, (i64, Arc<ProjectSetup>)>;

/// The latest set-up of each project that was asked for.
#[derive(Debug, Clone, Default)]
pub struct SetupCache(Arc<Mutex<Kept>>);

impl SetupCache {
    /// The set-up of `project` at `version`, if it is kept.
    pub fn get(&self, project: ProjectId, version: i64) -> Option<Arc<ProjectSetup>> {
        let kept = self.lock();
        let (at, setup) = kept.get(&project)?;
        (*at == version).then(|| Arc::clone(setup))
    }

    /// Keeps `setup`, unless a later one is kept.
    pub fn keep(&self, project: ProjectId, version: i64, setup: &Arc<ProjectSetup>) {
        let mut kept = self.lock();
        if kept.get(&project).is_some_and(|(at, _)| *at >= version) {
            return;
        }
        // Filling up again costs one read each; that is simpler than knowing which is oldest.
        if kept.len() >= CAPACITY && !kept.contains_key(&project) {
            kept.clear();
        }
        kept.insert(project, (version, Arc::clone(setup)));
    }

    fn lock(&self) -> MutexGuard<'_, Kept> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[cfg(test)]
mod tests {
    use uuid::Uuid;

    use super::*;

    #[test]
    fn only_the_version_asked_for_is_given_and_the_latest_stays() {
        let (cache, project) = (SetupCache::default(), ProjectId(Uuid::nil()));
        let setup = Arc::new(ProjectSetup::empty(chrono_tz::UTC));
        cache.keep(project, 2, &setup);
        cache.keep(project, 1, &setup);
        assert!(cache.get(project, 2).is_some());
        assert!(cache.get(project, 1).is_none());
    }
}
