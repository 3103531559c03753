//! What becomes of the stock: what the joints still take, when each material runs out, what to
//! order by when, what expires unused.
//!
//! [`Situation`] is everything that is known today. [`outlook`] looks ahead from it,
//! [`Change`] asks what would be if something were different, and [`conditions`] says what of an
//! outlook somebody must see.

mod ahead;
mod change;
mod conditions;
mod demand;
mod work_left;

use std::{collections::BTreeMap, sync::Arc};

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use crate::{joints::state::LayerRole, setup::ProjectSetup, takeoff::JointGroup};

pub use ahead::{
    Chance, ExpectedQuantity, HeldQuantity, MaterialOutlook, Outlook, RunOutInputs, Unused, outlook,
};
pub use change::{Change, Changes, apply};
pub use conditions::{ShelfLife, conditions, shelf_life};
pub use demand::{Demand, LearntRate, demand, learnt_rate};
pub use work_left::{WorkLeft, work_left};

/// The longest look ahead, days.
pub const MAX_DAYS: u32 = 366;

/// What the coming days go by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Basis {
    /// The production plan.
    Plan,
    /// What the spreads have really made, section after section.
    Actual,
}

/// Joints that take the same and are equally far.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JointsWaiting {
    /// What they take.
    pub group: JointGroup,
    /// Layers that are on already.
    pub on: Vec<LayerRole>,
    /// How many.
    pub joints: u64,
}

/// A quantity of a lot at all physical places together.
#[derive(Debug, Clone, PartialEq)]
pub struct Held {
    /// Lot code.
    pub lot: String,
    /// Code of its material.
    pub material: String,
    /// How much, in the unit of the material.
    pub quantity: f64,
    /// The last day it may be used on; none = it does not expire.
    pub last_day: Option<NaiveDate>,
    /// It is in quarantine.
    pub quarantined: bool,
}

/// A delivery that is expected.
#[derive(Debug, Clone, PartialEq)]
pub struct Expected {
    /// Which.
    pub id: Uuid,
    /// Code of its material.
    pub material: String,
    /// How much of it is still to come.
    pub quantity: f64,
    /// When.
    pub on: NaiveDate,
}

/// What a spread made on one day: joints whose first tape went on.
#[derive(Debug, Clone, PartialEq)]
pub struct DayMade {
    /// Spread.
    pub spread: String,
    /// Day on site.
    pub on: NaiveDate,
    /// Joints.
    pub joints: f64,
}

/// How a material is bought and counted.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Terms {
    /// Name for people.
    pub name: String,
    /// Unit of its quantities: `m`, `L`, `kg` or `piece`.
    pub unit: String,
    /// From order to delivery, calendar days.
    pub lead_time_days: u32,
    /// Reserve of time, calendar days.
    pub safety_days: u32,
    /// It is ordered in multiples of this.
    pub pack_quantity: Option<f64>,
    /// What one unit costs, in the project's currency.
    pub unit_cost: Option<f64>,
}

/// A day that cannot be worked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LostDay {
    /// Spread; every one if none.
    pub spread: Option<String>,
    /// Which.
    pub on: NaiveDate,
}

/// How much of a working day the weather leaves.
#[derive(Debug, Clone, PartialEq)]
pub struct WorkableShare {
    /// Spread.
    pub spread: String,
    /// Coating system.
    pub system: String,
    /// Which day.
    pub on: NaiveDate,
    /// Workable hours over the hours of the working day, 0 to 1.
    pub share: f64,
}

/// Everything that is known today.
#[derive(Debug, Clone)]
pub struct Situation {
    /// Today on site: the first day of the outlook.
    pub today: NaiveDate,
    /// How many days to look ahead, 1 to [`MAX_DAYS`].
    pub days: u32,
    /// What the coming days go by.
    pub basis: Basis,
    /// The set-up, with calendar and plan.
    pub setup: Arc<ProjectSetup>,
    /// Joints that are not wrapped yet.
    pub joints: Vec<JointsWaiting>,
    /// What is at the physical places.
    pub held: Vec<Held>,
    /// What is expected.
    pub expected: Vec<Expected>,
    /// What was made, up to and with today.
    pub made: Vec<DayMade>,
    /// Used over taken off, one ratio for each day on which the use was recorded, by material.
    pub waste: BTreeMap<String, Vec<f64>>,
    /// How materials are bought and counted.
    pub terms: BTreeMap<String, Terms>,
    /// Days that are lost besides those off.
    pub lost: Vec<LostDay>,
    /// What the weather leaves of the days that an outlook tells wholly; of others nothing is known.
    pub workable: Vec<WorkableShare>,
}

impl Situation {
    /// The days of the outlook.
    pub fn dates(&self) -> impl Iterator<Item = NaiveDate> {
        self.today.iter_days().take(usize::try_from(self.days).unwrap_or(0))
    }

    /// The share of the day `on` that the weather leaves `spread` for the coating system of
    /// `section`; 1 where no outlook tells it.
    pub fn workable_share(&self, spread: &str, section: &str, on: NaiveDate) -> f64 {
        let Some(section) = self.setup.sections.get(section) else { return 1.0 };
        let told = self
            .workable
            .iter()
            .find(|it| it.on == on && it.spread == spread && it.system == section.coating_system);
        told.map_or(1.0, |it| it.share)
    }

    /// Whether `spread` works on `on`.
    pub fn works(&self, spread: &str, on: NaiveDate) -> bool {
        let lost = |it: &LostDay| it.on == on && it.spread.as_deref().is_none_or(|of| of == spread);
        self.setup.calendar.is_working(on) && !self.lost.iter().any(lost)
    }
}
