//! What of a fact bears on the repair rate. Whole projects are counted, so no more is read of each.

use chrono::{DateTime, Utc};

use crate::{
    ids::EventId,
    joints::{
        Event, Fact,
        state::{LayerRole, role_of},
    },
};

/// A fact as the repair rate needs it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CoatFact {
    /// Id.
    pub id: EventId,
    /// When it happened in the field.
    pub occurred_at: DateTime<Utc>,
    /// Whether it was recorded before it is said to have happened.
    pub ahead: bool,
    /// The entry it takes the place of.
    pub supersedes: Option<EventId>,
    /// What was done.
    pub work: CoatWork,
}

/// What was done to a coating.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum CoatWork {
    /// The steel is bare again.
    Bared,
    /// A layer was put on.
    Layer {
        /// Which.
        role: LayerRole,
        /// Crew code.
        crew: Option<String>,
        /// Person code.
        applicator: Option<String>,
        /// Lots used.
        lots: Vec<String>,
    },
    /// The coating was tested.
    Tested {
        /// Passed, with no holiday counted.
        passed: bool,
    },
    /// The coating was repaired.
    Repaired,
    /// Nothing that bears on the rate; it may still take the place of something that does.
    Other,
}

impl CoatFact {
    /// What of `fact` bears on the rate.
    pub fn of(fact: &Fact) -> Self {
        let layer = |role, crew: &Option<String>, applicator: &Option<String>, lots: &[String]| {
            let (crew, applicator) = (crew.clone(), applicator.clone());
            CoatWork::Layer { role, crew, applicator, lots: lots.to_vec() }
        };
        let work = match &fact.event {
            Event::SurfacePrepared(_) | Event::WeldRepaired(_) => CoatWork::Bared,
            Event::Primed(it) => layer(LayerRole::Primer, &it.crew, &it.applicator, &it.lots),
            Event::Profiled(it) => {
                layer(LayerRole::ProfilingMastic, &it.crew, &it.applicator, &it.lots)
            }
            Event::Wrapped(it) => layer(role_of(it.layer), &it.crew, &it.applicator, &it.lots),
            Event::HolidayTested(it) => CoatWork::Tested { passed: it.passed() },
            Event::Repaired(_) => CoatWork::Repaired,
            _ => CoatWork::Other,
        };
        let (id, occurred_at) = (fact.id, fact.occurred_at);
        Self { id, occurred_at, ahead: fact.is_ahead(), supersedes: fact.supersedes, work }
    }
}

impl CoatWork {
    /// The order of the fold at one and the same instant, see [`crate::joints::in_order`].
    pub(super) const fn rank(&self) -> u8 {
        match self {
            Self::Tested { passed: true } => 0,
            Self::Bared => 1,
            Self::Layer { role: LayerRole::Primer, .. } => 2,
            Self::Layer { role: LayerRole::ProfilingMastic, .. } => 3,
            Self::Layer { .. } => 4,
            Self::Tested { passed: false } => 5,
            Self::Repaired => 6,
            Self::Other => 7,
        }
    }
}
