//! The whole set-up of one project, as the judgements need it.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate, Utc};
use chrono_tz::Tz;
use serde_json::Value;

use super::{
    CoatingSystem, Crew, Detector, InspectionPlan, Kind, LinePipe, Location, Lot, Material, Person,
    ProductionPlan, Section, Spread, WorkingCalendar, item::Reference,
};
use crate::{ids::UserId, joints::RegisterEntry};

/// Every set-up item of a project by its code.
#[derive(Debug, Clone)]
pub struct ProjectSetup {
    /// The zone in which calendar days are judged.
    pub time_zone: Tz,
    /// Line pipe.
    pub line_pipes: BTreeMap<String, LinePipe>,
    /// Spreads.
    pub spreads: BTreeMap<String, Spread>,
    /// Crews.
    pub crews: BTreeMap<String, Crew>,
    /// Sections.
    pub sections: BTreeMap<String, Section>,
    /// Materials.
    pub materials: BTreeMap<String, Material>,
    /// Lots.
    pub lots: BTreeMap<String, Lot>,
    /// Coating systems.
    pub systems: BTreeMap<String, CoatingSystem>,
    /// Inspection plans.
    pub plans: BTreeMap<String, InspectionPlan>,
    /// People.
    pub people: BTreeMap<String, Person>,
    /// Detectors.
    pub detectors: BTreeMap<String, Detector>,
    /// Locations of stock.
    pub locations: BTreeMap<String, Location>,
    /// Which days are worked.
    pub calendar: WorkingCalendar,
    /// What is to be made.
    pub production_plan: ProductionPlan,
}

/// What the line asks of one joint.
#[derive(Debug, Clone, Copy)]
pub struct Assignment<'a> {
    /// Its section.
    pub section: &'a Section,
    /// Its coating system.
    pub system: &'a CoatingSystem,
    /// Its inspection plan.
    pub plan: &'a InspectionPlan,
}

impl ProjectSetup {
    /// A project without any item.
    pub fn empty(time_zone: Tz) -> Self {
        Self {
            time_zone,
            line_pipes: BTreeMap::new(),
            spreads: BTreeMap::new(),
            crews: BTreeMap::new(),
            sections: BTreeMap::new(),
            materials: BTreeMap::new(),
            lots: BTreeMap::new(),
            systems: BTreeMap::new(),
            plans: BTreeMap::new(),
            people: BTreeMap::new(),
            detectors: BTreeMap::new(),
            locations: BTreeMap::new(),
            calendar: WorkingCalendar::default(),
            production_plan: ProductionPlan::default(),
        }
    }

    /// Adds a stored item. A stored item always reads: it was checked when it was stored.
    pub fn insert(
        &mut self,
        kind: Kind,
        code: String,
        body: Value,
    ) -> Result<(), serde_json::Error> {
        use serde_json::from_value as read;
        match kind {
            Kind::LinePipe => drop(self.line_pipes.insert(code, read(body)?)),
            Kind::Spread => drop(self.spreads.insert(code, read(body)?)),
            Kind::Crew => drop(self.crews.insert(code, read(body)?)),
            Kind::Section => drop(self.sections.insert(code, read(body)?)),
            Kind::Material => drop(self.materials.insert(code, read(body)?)),
            Kind::Lot => drop(self.lots.insert(code, read(body)?)),
            Kind::CoatingSystem => drop(self.systems.insert(code, read(body)?)),
            Kind::InspectionPlan => drop(self.plans.insert(code, read(body)?)),
            Kind::Person => drop(self.people.insert(code, read(body)?)),
            Kind::Detector => drop(self.detectors.insert(code, read(body)?)),
            Kind::Location => drop(self.locations.insert(code, read(body)?)),
            Kind::WorkingCalendar => self.calendar = read(body)?,
            Kind::ProductionPlan => self.production_plan = read(body)?,
        }
        Ok(())
    }

    /// Whether the item that `reference` names is there.
    pub fn knows(&self, reference: &Reference) -> bool {
        let code = &reference.code;
        match reference.kind {
            Kind::LinePipe => self.line_pipes.contains_key(code),
            Kind::Spread => self.spreads.contains_key(code),
            Kind::Crew => self.crews.contains_key(code),
            Kind::Section => self.sections.contains_key(code),
            Kind::Material => self.materials.contains_key(code),
            Kind::Lot => self.lots.contains_key(code),
            Kind::CoatingSystem => self.systems.contains_key(code),
            Kind::InspectionPlan => self.plans.contains_key(code),
            Kind::Person => self.people.contains_key(code),
            Kind::Detector => self.detectors.contains_key(code),
            Kind::Location => self.locations.contains_key(code),
            // There is always one, if only the usual one.
            Kind::WorkingCalendar | Kind::ProductionPlan => true,
        }
    }

    /// What the line asks of `entry`; none where its section or what that names is not set up.
    pub fn assignment(&self, entry: &RegisterEntry) -> Option<Assignment<'_>> {
        self.assigned(&entry.section, entry.coating_system.as_ref())
    }

    /// What the line asks of a joint of `section` that is coated with `system`, or with the
    /// section's own.
    pub fn assigned(&self, section: &str, system: Option<&String>) -> Option<Assignment<'_>> {
        let section = self.sections.get(section)?;
        Some(Assignment {
            section,
            system: self.systems.get(system.unwrap_or(&section.coating_system))?,
            plan: self.plans.get(&section.inspection_plan)?,
        })
    }

    /// The calendar day of `at` on site.
    pub fn day(&self, at: DateTime<Utc>) -> NaiveDate {
        at.with_timezone(&self.time_zone).date_naive()
    }

    /// What the crew `code` has with it; of several locations the first by code.
    pub fn location_of_crew(&self, code: &str) -> Option<&Location> {
        self.locations.values().find(|location| location.crew.as_deref() == Some(code))
    }

    /// The person who signs in as `user`.
    pub fn person_of(&self, user: UserId) -> Option<&Person> {
        self.people.values().find(|person| person.user == Some(user))
    }
}
