//! What if.

use std::sync::Arc;

use chrono::NaiveDate;
use serde::Deserialize;
use utoipa::ToSchema;
use uuid::Uuid;

use super::{Expected, LostDay, Situation};
use crate::schema::{FieldError, Validate};

/// Most changes at a time.
const MOST: usize = 50;

/// Something that could be different.
#[derive(Debug, Clone, PartialEq, Deserialize, ToSchema)]
#[serde(tag = "change", rename_all = "snake_case", deny_unknown_fields)]
pub enum Change {
    /// A spread, or every one, makes so much more or less.
    Rate {
        /// Spread; every one if absent.
        #[serde(default)]
        spread: Option<String>,
        /// By how much, %: -100 to 1000.
        #[schema(minimum = -100, maximum = 1000)]
        percent: f64,
    },
    /// A delivery comes later, or earlier.
    DeliveryLate {
        /// Which.
        delivery: Uuid,
        /// By how many days; earlier if less than 0.
        #[schema(minimum = -366, maximum = 366)]
        days: i32,
    },
    /// Something more is ordered.
    Order {
        /// Code of its material.
        material: String,
        /// How much, in the unit of the material.
        #[schema(exclusive_minimum = 0, maximum = 10_000_000)]
        quantity: f64,
        /// When it comes.
        on: NaiveDate,
    },
    /// A section gets another coating system: its joints that are not begun and have none of
    /// their own.
    System {
        /// Section.
        section: String,
        /// Code of the system.
        coating_system: String,
    },
    /// A spread, or every one, loses its next working days to the weather.
    DaysLost {
        /// Spread; every one if absent.
        #[serde(default)]
        spread: Option<String>,
        /// How many.
        #[schema(minimum = 1, maximum = 366)]
        days: u32,
    },
}

/// A list of them.
#[derive(Debug, Clone, PartialEq, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Changes {
    /// In the order in which they are made.
    #[schema(max_items = 50)]
    pub what_if: Vec<Change>,
}

impl Validate for Changes {}

/// Makes the changes, or names every one that cannot be made. Nothing is stored.
pub fn apply(situation: &mut Situation, changes: &[Change]) -> Result<(), Vec<FieldError>> {
    let mut faults = Vec::new();
    if changes.len() > MOST {
        let detail = format!("at most {MOST} changes at a time");
        faults.push(FieldError::new("/what_if", "OUT_OF_RANGE", detail));
        return Err(faults);
    }
    for (index, change) in changes.iter().enumerate() {
        if let Err((field, detail)) = one(situation, change) {
            let pointer = format!("/what_if/{index}/{field}");
            faults.push(FieldError::new(&pointer, "UNKNOWN_REFERENCE", detail));
        }
    }
    if faults.is_empty() { Ok(()) } else { Err(faults) }
}

fn one(situation: &mut Situation, change: &Change) -> Result<(), (&'static str, String)> {
    match change {
        Change::Rate { spread, percent } => {
            known_spread(situation, spread.as_ref())?;
            faster(situation, spread.as_deref(), 1.0 + percent / 100.0);
        }
        Change::DeliveryLate { delivery, days } => {
            let found = situation.expected.iter_mut().find(|it| it.id == *delivery);
            let found =
                found.ok_or_else(|| ("delivery", format!("no delivery {delivery} is expected")))?;
            found.on = moved(found.on, *days);
        }
        Change::Order { material, quantity, on } => {
            if !situation.terms.contains_key(material) {
                return Err(("material", format!("there is no material `{material}`")));
            }
            let (material, on) = (material.clone(), *on);
            situation.expected.push(Expected {
                id: Uuid::nil(),
                material,
                quantity: *quantity,
                on,
            });
        }
        Change::System { section, coating_system } => {
            other_system(situation, section, coating_system)?;
        }
        Change::DaysLost { spread, days } => {
            known_spread(situation, spread.as_ref())?;
            lose(situation, spread.as_ref(), *days);
        }
    }
    Ok(())
}

fn known_spread(
    situation: &Situation,
    spread: Option<&String>,
) -> Result<(), (&'static str, String)> {
    match spread.filter(|code| !situation.setup.spreads.contains_key(*code)) {
        Some(code) => Err(("spread", format!("there is no spread `{code}`"))),
        None => Ok(()),
    }
}

/// Both what is planned and what the days so far say of the coming ones.
fn faster(situation: &mut Situation, spread: Option<&str>, factor: f64) {
    let concerns = |of: &str| spread.is_none_or(|spread| spread == of);
    let setup = Arc::make_mut(&mut situation.setup);
    for line in setup.production_plan.lines.iter_mut().filter(|it| concerns(&it.spread)) {
        line.joints_per_day *= factor;
    }
    let today = situation.today;
    let past = situation.made.iter_mut().filter(|it| it.on < today);
    for made in past.filter(|it| concerns(&it.spread)) {
        made.joints *= factor;
    }
}

fn moved(on: NaiveDate, days: i32) -> NaiveDate {
    let by = chrono::TimeDelta::days(i64::from(days));
    on.checked_add_signed(by).unwrap_or(on)
}

fn other_system(
    situation: &mut Situation,
    section: &str,
    system: &str,
) -> Result<(), (&'static str, String)> {
    if !situation.setup.systems.contains_key(system) {
        return Err(("coating_system", format!("there is no coating system `{system}`")));
    }
    if !situation.setup.sections.contains_key(section) {
        return Err(("section", format!("there is no section `{section}`")));
    }
    let of_section = situation.joints.iter_mut().filter(|it| it.group.section == section);
    for waiting in of_section.filter(|it| it.on.is_empty() && it.group.coating_system.is_none()) {
        waiting.group.coating_system = Some(system.to_owned());
    }
    Ok(())
}

fn lose(situation: &mut Situation, spread: Option<&String>, days: u32) {
    let worked = |on: &NaiveDate| match spread {
        Some(spread) => situation.works(spread, *on),
        None => situation.works("", *on),
    };
    let days = usize::try_from(days).unwrap_or(usize::MAX);
    let next: Vec<NaiveDate> = situation.dates().filter(worked).take(days).collect();
    let lost = next.into_iter().map(|on| LostDay { spread: spread.cloned(), on });
    situation.lost.extend(lost);
}
