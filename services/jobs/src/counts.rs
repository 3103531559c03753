//! What a run did, in numbers for people.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

/// What a run did, in numbers for people: `Counts::of("rows", 120).and("skipped", 2)`.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Counts(BTreeMap<String, i64>);

impl Counts {
    /// Returns the counts of a run that has nothing to tell.
    pub fn none() -> Self {
        Self::default()
    }

    /// Returns one count.
    pub fn of(name: &str, count: i64) -> Self {
        Self::none().and(name, count)
    }

    /// Adds another.
    #[must_use]
    pub fn and(mut self, name: &str, count: i64) -> Self {
        self.0.insert(name.to_owned(), count);
        self
    }
}
