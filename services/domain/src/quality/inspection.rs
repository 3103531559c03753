//! The coatings of a joint that were tested, and whether they conformed.

use std::collections::{BTreeSet, HashSet};

use chrono::{DateTime, Utc};

use super::{CoatFact, CoatWork};
use crate::{ids::EventId, joints::state::LayerRole};

/// A coating at its first holiday test after its last layer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Inspection {
    /// The test.
    pub test: EventId,
    /// When it was tested.
    pub at: DateTime<Utc>,
    /// The test failed, or the coating was repaired or failed a test before it passed one.
    pub nonconforming: bool,
    /// When its outer wrap was put on; its inner wrap or armour where it has no outer one.
    pub wrapped_at: DateTime<Utc>,
    /// Crew that put this wrap on.
    pub crew: Option<String>,
    /// Person code of who put it on.
    pub applicator: Option<String>,
    /// Lots of its primer, inner and outer wrap.
    pub lots: BTreeSet<String>,
}

/// The coatings of one joint that were tested, in the order of the field, whatever the order of
/// `facts`.
///
/// A coating begins on bare steel. A layer of a kind that it has already is rework and begins
/// nothing; a layer of a new kind, such as armour over what was tested, has to be tested again, and
/// the coating counts at that later test. Entries that were withdrawn do not count; nor do tests
/// recorded ahead of their time, for they prove nothing.
pub fn inspections(facts: &[CoatFact]) -> Vec<Inspection> {
    let withdrawn: HashSet<EventId> = facts.iter().filter_map(|it| it.supersedes).collect();
    let mut counting: Vec<&CoatFact> =
        facts.iter().filter(|it| !withdrawn.contains(&it.id)).collect();
    counting.sort_by_key(|it| (it.occurred_at, it.work.rank(), it.id));
    counting.dedup_by_key(|it| it.id);
    let mut found = Vec::new();
    let mut coating = Coating::default();
    for fact in counting {
        if let Some(done) = coating.apply(fact) {
            found.push(done);
        }
    }
    found.extend(coating.counted);
    found
}

#[derive(Default)]
struct Coating<'a> {
    layers: Vec<(LayerRole, &'a CoatFact)>,
    /// Repaired, or failed a test, before it passed any. What happens to it later, such as a damage
    /// by others, says nothing of how it was made.
    spoiled: bool,
    has_passed: bool,
    /// The test that counts, until a layer of a new kind comes.
    counted: Option<Inspection>,
    /// No layer of a new kind came since.
    stands: bool,
}

impl<'a> Coating<'a> {
    /// Returns the coating before, where the fact ends it and it was tested.
    fn apply(&mut self, fact: &'a CoatFact) -> Option<Inspection> {
        match &fact.work {
            CoatWork::Bared if !fact.ahead => return std::mem::take(self).counted,
            CoatWork::Layer { role, .. } => {
                self.stands &= self.layers.iter().any(|(on, _)| on == role);
                self.layers.push((*role, fact));
            }
            CoatWork::Repaired => self.spoiled |= !self.has_passed,
            CoatWork::Tested { passed } if !fact.ahead => {
                if !self.stands
                    && let Some(done) = self.inspection(fact, *passed)
                {
                    self.counted = Some(done);
                    self.stands = true;
                }
                self.spoiled |= !passed && !self.has_passed;
                self.has_passed |= passed;
            }
            CoatWork::Bared | CoatWork::Tested { .. } | CoatWork::Other => {}
        }
        None
    }

    /// None while no wrap is on: there is no coating to test yet.
    fn inspection(&self, test: &CoatFact, passed: bool) -> Option<Inspection> {
        let newest = |wanted| self.layers.iter().rev().find(|(role, _)| *role == wanted);
        let (_, wrap) = newest(LayerRole::OuterWrap)
            .or_else(|| newest(LayerRole::InnerWrap))
            .or_else(|| newest(LayerRole::Armour))?;
        let CoatWork::Layer { crew, applicator, .. } = &wrap.work else { return None };
        Some(Inspection {
            test: test.id,
            at: test.occurred_at,
            nonconforming: self.spoiled || !passed,
            wrapped_at: wrap.occurred_at,
            crew: crew.clone(),
            applicator: applicator.clone(),
            lots: self.lots(),
        })
    }

    fn lots(&self) -> BTreeSet<String> {
        let named = self.layers.iter().filter_map(|(role, fact)| match (&fact.work, role) {
            (_, LayerRole::ProfilingMastic | LayerRole::Armour) => None,
            (CoatWork::Layer { lots, .. }, _) => Some(lots.iter().cloned()),
            _ => None,
        });
        named.flatten().collect()
    }
}
