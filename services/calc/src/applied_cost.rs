//! Applied cost of alternative coating systems, per joint and per section.
//!
//! Amounts are numbers in one currency that is never named here.

use units::Length;

use crate::{
    admissibility::{Admissibility, SectionNeeds, Suitability, SystemProperties, admissibility},
    burial_cost::{Burial, BurialCost, Protection, burial_cost},
    cost_line::{CostKind, CostLine, PRICE, QUANTITY},
    count,
    input::{Bounds, FaultKind, Faults, InputError},
    system::{System, SystemTakeoff, system_takeoff},
    tally::{JointRun, Tally, tally},
};

/// The section that the systems are compared for.
#[derive(Debug, Clone, PartialEq)]
pub struct CostBasis {
    /// What the section asks of a system.
    pub section: SectionNeeds,
    /// Outside diameter of the bare pipe.
    pub outside_diameter: Length,
    /// Joints in the section, 1 to 100 000.
    pub joints: u64,
    /// Price of an hour of one worker.
    pub worker_hour_price: f64,
    /// Price of an hour of the inspector.
    pub inspector_hour_price: f64,
    /// Padding against armour, where that is to be compared too.
    pub burial: Option<Burial>,
    /// Whether systems that do not suit are priced as well.
    pub price_inadmissible: bool,
}

/// One system with its prices and hours per joint.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// Its code.
    pub code: String,
    /// What is known of it.
    pub properties: SystemProperties,
    /// What it is made of.
    pub system: System,
    /// Price of a litre of primer; needed where the system has a primer.
    pub primer_price_per_l: Option<f64>,
    /// Price of a kilogram of mastic; needed where the system has mastic.
    pub mastic_price_per_kg: Option<f64>,
    /// Price of a square metre of tape of each wrap, in their order. A price per roll is divided
    /// by the roll's width and length.
    pub tape_prices_per_m2: Vec<f64>,
    /// Work on one joint.
    pub labour: Vec<Labour>,
    /// Hours of the inspector on one joint.
    pub inspection_hours: f64,
    /// Consumables of one joint.
    pub consumables: f64,
    /// Repairs expected per joint, such as 0.04 for one in 25. The site's own rate is the best.
    pub repairs_per_joint: f64,
    /// Cost of one repair.
    pub repair_price: f64,
}

/// One kind of work on a joint.
#[derive(Debug, Clone, PartialEq)]
pub struct Labour {
    /// What, such as `preparation`.
    pub activity: String,
    /// Hours.
    pub hours: f64,
    /// Workers at once.
    pub workers: f64,
}

/// A candidate, judged, and priced where that was asked.
#[derive(Debug, Clone, PartialEq)]
pub struct Compared {
    /// Its code.
    pub code: String,
    /// Whether it suits, decided before the price.
    pub suitability: Suitability,
    /// Why not, or what is not known.
    pub admissibility: Admissibility,
    /// What it costs; none where it does not suit and was not to be priced.
    pub cost: Option<SystemCost>,
}

/// What a system costs.
#[derive(Debug, Clone, PartialEq)]
pub struct SystemCost {
    /// What it takes on a joint.
    pub takeoff: SystemTakeoff,
    /// Every line of one joint, burial left out.
    pub joint_lines: Vec<CostLine>,
    /// Their sum.
    pub per_joint: f64,
    /// The same lines for all joints.
    pub section_lines: Vec<CostLine>,
    /// Their sum.
    pub per_section: f64,
    /// Litres, kilograms, metres and rolls for all joints. Tape is billed by its area with waste;
    /// the rolls say what has to be bought for it.
    pub section_quantities: Tally,
    /// One joint and its share of imported padding, where burial is compared.
    pub per_joint_with_imported_padding: Option<f64>,
    /// One joint and its share of armour with native fill, where burial is compared.
    pub per_joint_with_armour: Option<f64>,
    /// All joints with imported padding, where burial is compared.
    pub per_section_with_imported_padding: Option<f64>,
    /// All joints with armour and native fill, where burial is compared.
    pub per_section_with_armour: Option<f64>,
}

/// The comparison.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// Systems that suit, the cheapest first.
    pub admissible: Vec<Compared>,
    /// Systems about which something is not known: priced, not ranked, in the order given.
    pub unverified: Vec<Compared>,
    /// Systems that do not suit, in the order given.
    pub inadmissible: Vec<Compared>,
    /// Padding against armour.
    pub burial: Option<BurialCost>,
}

/// Judges the candidates first and then compares the cost of those that suit.
///
/// Per joint: primer, mastic, tape with waste, labour, consumables, inspection and the expected
/// repairs, then the joint's share of the burial. Arithmetic of a bill; every line is in the
/// answer.
pub fn applied_cost(basis: &CostBasis, candidates: &[Candidate]) -> Result<Comparison, InputError> {
    look_over(basis, candidates)?;
    let mut faults = Faults::default();
    let burial = basis.burial.as_ref().and_then(|it| faults.absorb("burial", burial_cost(it)));
    let mut comparison = Comparison {
        admissible: Vec::new(),
        unverified: Vec::new(),
        inadmissible: Vec::new(),
        burial,
    };
    for (index, candidate) in candidates.iter().enumerate() {
        let judged = admissibility(&basis.section, &candidate.properties);
        let suitability = judged.suitability();
        let asked = suitability != Suitability::Inadmissible || basis.price_inadmissible;
        let cost = asked
            .then(|| system_cost(basis, candidate, comparison.burial.as_ref()))
            .and_then(|it| faults.absorb(&format!("candidates/{index}"), it));
        let code = candidate.code.clone();
        let compared = Compared { code, suitability, admissibility: judged, cost };
        match suitability {
            Suitability::Admissible => comparison.admissible.push(compared),
            Suitability::Unverified => comparison.unverified.push(compared),
            Suitability::Inadmissible => comparison.inadmissible.push(compared),
        }
    }
    faults.check()?;
    let price = |it: &Compared| it.cost.as_ref().map_or(f64::INFINITY, |cost| cost.per_joint);
    comparison.admissible.sort_by(|one, other| price(one).total_cmp(&price(other)));
    Ok(comparison)
}

fn look_over(basis: &CostBasis, candidates: &[Candidate]) -> Result<(), InputError> {
    let mut faults = Faults::default();
    if candidates.is_empty() {
        faults.add("candidates", FaultKind::Empty);
    }
    if !(1..=100_000).contains(&basis.joints) {
        let kind = FaultKind::Inconsistent("must be from 1 to 100000 joints");
        faults.add("joints", kind);
    }
    faults.range("worker_hour_price", basis.worker_hour_price, PRICE);
    faults.range("inspector_hour_price", basis.inspector_hour_price, PRICE);
    faults.check()
}

fn system_cost(
    basis: &CostBasis,
    candidate: &Candidate,
    burial: Option<&BurialCost>,
) -> Result<SystemCost, InputError> {
    let takeoff = system_takeoff(basis.outside_diameter, &candidate.system)?;
    let joint_lines = joint_lines(basis, candidate, &takeoff)?;
    let joints = count::number(basis.joints);
    let run = JointRun {
        outside_diameter: basis.outside_diameter,
        system: candidate.system.clone(),
        joints: basis.joints,
    };
    let section_lines: Vec<_> = joint_lines.iter().map(|it| it.times(joints)).collect();
    let per_joint = CostLine::sum(&joint_lines);
    let with = |protection: fn(&BurialCost) -> &Protection| {
        burial.map(|it| per_joint + protection(it).per_joint)
    };
    let (padded, armoured) = (with(|it| &it.imported_padding), with(|it| &it.armour));
    Ok(SystemCost {
        per_section: CostLine::sum(&section_lines),
        section_quantities: tally(&[run])?,
        per_joint_with_imported_padding: padded,
        per_joint_with_armour: armoured,
        per_section_with_imported_padding: padded.map(|it| joints * it),
        per_section_with_armour: armoured.map(|it| joints * it),
        takeoff,
        joint_lines,
        per_joint,
        section_lines,
    })
}

fn joint_lines(
    basis: &CostBasis,
    candidate: &Candidate,
    takeoff: &SystemTakeoff,
) -> Result<Vec<CostLine>, InputError> {
    let mut bill = Bill { faults: Faults::default(), lines: Vec::new() };
    let system = &candidate.system;
    if let (Some(primer), Some(coat)) = (takeoff.primer, &system.primer) {
        let price = (candidate.primer_price_per_l, "primer_price_per_l");
        bill.material(CostKind::Primer, &coat.material, primer.volume.as_litres(), "L", price);
    }
    if let (Some(mastic), Some(fill)) = (takeoff.mastic, &system.mastic) {
        let price = (candidate.mastic_price_per_kg, "mastic_price_per_kg");
        bill.material(CostKind::Mastic, &fill.material, mastic.mass.as_kilograms(), "kg", price);
    }
    if candidate.tape_prices_per_m2.len() > system.layers.len() {
        let kind = FaultKind::Inconsistent("must have one price for each wrap");
        bill.faults.add("tape_prices_per_m2", kind);
    }
    for (index, (layer, taken)) in system.layers.iter().zip(&takeoff.layers).enumerate() {
        let field = format!("tape_prices_per_m2/{index}");
        let price = (candidate.tape_prices_per_m2.get(index).copied(), field.as_str());
        bill.material(CostKind::Tape, &layer.material, taken.tape_with_waste_m2, "m²", price);
    }
    for (index, work) in candidate.labour.iter().enumerate() {
        bill.faults.range(&format!("labour/{index}/hours"), work.hours, HOURS);
        bill.faults.range(&format!("labour/{index}/workers"), work.workers, HOURS);
        let hours = work.hours * work.workers;
        bill.line(CostKind::Labour, &work.activity, hours, "h", basis.worker_hour_price);
    }
    for (field, value, bounds) in [
        ("inspection_hours", candidate.inspection_hours, HOURS),
        ("consumables", candidate.consumables, PRICE),
        ("repairs_per_joint", candidate.repairs_per_joint, QUANTITY),
        ("repair_price", candidate.repair_price, PRICE),
    ] {
        bill.faults.range(field, value, bounds);
    }
    let inspector = basis.inspector_hour_price;
    bill.line(CostKind::Inspection, "inspection", candidate.inspection_hours, "h", inspector);
    bill.line(CostKind::Consumables, "consumables", 1.0, "joint", candidate.consumables);
    let (repairs, price) = (candidate.repairs_per_joint, candidate.repair_price);
    bill.line(CostKind::Repair, "expected repairs", repairs, "repair", price);
    bill.faults.check()?;
    Ok(bill.lines)
}

const HOURS: Bounds = Bounds::new(0.0, 10_000.0, "");

struct Bill {
    faults: Faults,
    lines: Vec<CostLine>,
}

impl Bill {
    fn line(&mut self, kind: CostKind, item: &str, quantity: f64, unit: &'static str, price: f64) {
        self.lines.push(CostLine::new(kind, item, quantity, unit, price));
    }

    /// A material without its price cannot be compared: a fault, never a zero.
    fn material(
        &mut self,
        kind: CostKind,
        item: &str,
        quantity: f64,
        unit: &'static str,
        (price, field): (Option<f64>, &str),
    ) {
        match price {
            Some(price) => {
                self.faults.range(field, price, PRICE);
                self.line(kind, item, quantity, unit, price);
            }
            None => {
                let kind = FaultKind::Inconsistent("is needed: the system takes this material");
                self.faults.add(field, kind);
            }
        }
    }
}
