//! What a nonconformance is about, and whether a joint is among it.

use chrono::{DateTime, Utc};
use units::Kp;

use super::{JointState, RegisterEntry};

/// What a nonconformance is about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Scope {
    /// One joint.
    Joint,
    /// A lot: the joints that carry it.
    Lot(String),
    /// A crew, from a time on: the joints that carry work of it since.
    Crew {
        /// Its code.
        code: String,
        /// From when, included.
        since: DateTime<Utc>,
    },
    /// A stretch of the line: the joints in it.
    Stretch {
        /// Only those of this section.
        section: Option<String>,
        /// From this kilometre point in mm, included.
        from_mm: i64,
        /// Up to this one, included.
        to_mm: i64,
    },
}

impl Scope {
    /// Whether it is about this joint, as its facts stand. What was cleaned off is not on it.
    pub fn covers(&self, state: &JointState, entry: &RegisterEntry) -> bool {
        let mut works = state.coat.works.iter();
        match self {
            Self::Joint => true,
            Self::Lot(lot) => works.any(|work| work.lots.contains(lot)),
            Self::Crew { code, since } => {
                works.any(|work| work.crew.as_ref() == Some(code) && work.mark.at >= *since)
            }
            Self::Stretch { section, from_mm, to_mm } => {
                let at = Kp::from_metres(entry.kp_m).map(Kp::as_millimetres);
                section.as_ref().is_none_or(|section| *section == entry.section)
                    && at.is_ok_and(|at| (*from_mm..=*to_mm).contains(&at))
            }
        }
    }
}
