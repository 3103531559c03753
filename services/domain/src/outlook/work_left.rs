//! What the joints that are not wrapped yet still take.

use std::collections::{BTreeMap, BTreeSet};

use super::Situation;
use crate::takeoff::{LayerNeed, UnknownQuantity, known_system};

/// What the joints of one section still take.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct WorkLeft {
    /// Joints that are not wrapped yet.
    pub joints: f64,
    /// Of these the ones with the first layers on.
    pub begun: f64,
    /// What all of them together still take, with the usual waste and loss, by material.
    pub need: BTreeMap<String, f64>,
    /// Of this, what those that are begun take.
    pub reserved: BTreeMap<String, f64>,
}

/// What is left to do section by section, and the quantities that the set-up does not tell.
pub fn work_left(situation: &Situation) -> (BTreeMap<String, WorkLeft>, Vec<UnknownQuantity>) {
    let mut sections: BTreeMap<String, WorkLeft> = BTreeMap::new();
    let mut unknown = BTreeSet::new();
    for waiting in &situation.joints {
        let (known, gaps) = known_system(&situation.setup, &waiting.group);
        unknown.extend(gaps);
        let joints = number(waiting.joints);
        let begun = !waiting.on.is_empty();
        let left = sections.entry(waiting.group.section.clone()).or_default();
        left.joints += joints;
        left.begun += if begun { joints } else { 0.0 };
        let Some(known) = known else { continue };
        let needs = known.needs().unwrap_or_else(|error| {
            let (coating_system, detail) = (known.code.clone(), error.to_string());
            unknown.insert(UnknownQuantity { coating_system, role: None, detail });
            Vec::new()
        });
        for need in needs.iter().filter(|need| !waiting.on.contains(&need.role)) {
            let quantity = joints * quantity(need);
            *left.need.entry(need.material.clone()).or_default() += quantity;
            if begun {
                *left.reserved.entry(need.material.clone()).or_default() += quantity;
            }
        }
    }
    (sections, unknown.into_iter().collect())
}

/// What a layer takes, in the unit of its material.
fn quantity(need: &LayerNeed) -> f64 {
    need.tape_m.or(need.primer_l).or(need.mastic_kg).unwrap_or(0.0)
}

#[expect(clippy::cast_precision_loss, reason = "counts of joints are far under 2^53")]
const fn number(count: u64) -> f64 {
    count as f64
}
