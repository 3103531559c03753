//! What a project is set up with: the line, the materials, the plan, the people, the instruments.
//!
//! Every item has a code that is unique among its kind in the project, and a version.
//! Facts name items by code; a code that nobody knows is a finding, not a reason to lose a fact.

mod calendar;
mod coating_system;
mod inspection_plan;
mod item;
mod line;
mod location;
mod lot_decisions;
mod material;
mod people;
mod production_plan;
mod project;

pub use calendar::{DayOff, TimeOfDay, Weekday, WorkingCalendar};
pub use coating_system::{CoatingSystem, Layer};
pub use inspection_plan::{InspectionPlan, VoltageMethodCode, VoltageRule};
pub use item::{Item, Kind, Reference};
pub use line::{Backfill, Crew, LinePipe, Section, Spread};
pub use location::{Location, LocationKind};
pub use lot_decisions::{Extend, Hold, Lift, LotRefusal};
pub use material::{
    BaseUnit, Lot, MasticSupply, Material, PrimerSupply, Quarantine, ShelfLifeExtension, TapeSupply,
};
pub use people::{Calibration, Capability, Detector, Person, Qualification};
pub use production_plan::{PlanLine, ProductionPlan};
pub use project::{Assignment, ProjectSetup};
