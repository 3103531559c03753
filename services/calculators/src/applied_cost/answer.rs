//! What is answered.

use serde::Serialize;
use utoipa::ToSchema;

use crate::system_takeoff::SystemTakeoffAnswer;

/// The comparison.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct AppliedCostAnswer {
    /// Systems that suit, the cheapest first.
    pub admissible: Vec<Compared>,
    /// Systems about which something is not known: priced, not ranked.
    pub unverified: Vec<Compared>,
    /// Systems that do not suit.
    pub inadmissible: Vec<Compared>,
    /// Padding against armour; null where it was not asked for.
    #[schema(required)]
    pub burial: Option<BurialCost>,
}

/// A system, judged, and priced where that was asked.
#[derive(Debug, Clone, Serialize, ToSchema)]
#[schema(as = ComparedSystem)]
pub struct Compared {
    /// Its code.
    pub code: String,
    /// Whether it suits, decided before the price.
    #[schema(value_type = String, example = "admissible")]
    pub suitability: calc::Suitability,
    /// Why it does not suit, or what is not known.
    pub reasons: Vec<Reason>,
    /// What it costs; null where it does not suit and was not to be priced.
    #[schema(required)]
    pub cost: Option<SystemCost>,
}

/// Why a system does not suit, or what is not known of it.
#[derive(Debug, Clone, Serialize, ToSchema)]
#[schema(as = SuitabilityReason)]
pub struct Reason {
    /// Which.
    #[schema(value_type = String, example = "too_hot")]
    pub code: calc::ReasonCode,
    /// In words, with the values.
    pub detail: String,
}

/// What a system costs.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct SystemCost {
    /// What it takes on a joint.
    pub takeoff: SystemTakeoffAnswer,
    /// Every line of one joint, burial left out.
    pub joint_lines: Vec<CostLine>,
    /// Their sum.
    pub per_joint: f64,
    /// The same lines for all joints.
    pub section_lines: Vec<CostLine>,
    /// Their sum.
    pub per_section: f64,
    /// One joint and its share of imported padding; null where burial is not compared.
    #[schema(required)]
    pub per_joint_with_imported_padding: Option<f64>,
    /// One joint and its share of native fill and armour; null where burial is not compared.
    #[schema(required)]
    pub per_joint_with_armour: Option<f64>,
}

/// One line of the bill.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct CostLine {
    /// What for.
    #[schema(value_type = String, example = "tape")]
    pub kind: calc::CostKind,
    /// Which material or work.
    pub item: String,
    /// How much.
    pub quantity: f64,
    /// Unit of the quantity.
    pub unit: &'static str,
    /// Price of one unit.
    pub unit_price: f64,
    /// Quantity times price.
    pub amount: f64,
}

/// Padding against armour, for one joint's length of pipe.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct BurialCost {
    /// Height of the padded part, m.
    pub padding_height_m: f64,
    /// Padding in place, m³ per metre of trench.
    pub padding_in_place_m3_per_m: f64,
    /// Padding brought in.
    pub imported_padding: Protection,
    /// Native fill and armour round the pipe.
    pub armour: Protection,
    /// Price of imported padding per m³ under which padding is the cheaper one.
    pub break_even_imported_price_per_m3: f64,
}

/// One way of protecting the pipe.
#[derive(Debug, Clone, Serialize, ToSchema)]
#[schema(as = PipeProtection)]
pub struct Protection {
    /// Its lines.
    pub lines: Vec<CostLine>,
    /// Their sum.
    pub per_joint: f64,
}

impl From<calc::Comparison> for AppliedCostAnswer {
    fn from(it: calc::Comparison) -> Self {
        let all = |these: Vec<calc::Compared>| these.into_iter().map(Compared::from).collect();
        Self {
            admissible: all(it.admissible),
            unverified: all(it.unverified),
            inadmissible: all(it.inadmissible),
            burial: it.burial.map(BurialCost::from),
        }
    }
}

impl From<calc::Compared> for Compared {
    fn from(it: calc::Compared) -> Self {
        let reasons = it.admissibility.reasons.into_iter();
        Self {
            code: it.code,
            suitability: it.suitability,
            reasons: reasons.map(|it| Reason { code: it.code, detail: it.detail }).collect(),
            cost: it.cost.map(SystemCost::from),
        }
    }
}

impl From<calc::SystemCost> for SystemCost {
    fn from(it: calc::SystemCost) -> Self {
        Self {
            takeoff: it.takeoff.into(),
            joint_lines: lines(it.joint_lines),
            per_joint: it.per_joint,
            section_lines: lines(it.section_lines),
            per_section: it.per_section,
            per_joint_with_imported_padding: it.per_joint_with_imported_padding,
            per_joint_with_armour: it.per_joint_with_armour,
        }
    }
}

impl From<calc::BurialCost> for BurialCost {
    fn from(it: calc::BurialCost) -> Self {
        let protection =
            |it: calc::Protection| Protection { per_joint: it.per_joint, lines: lines(it.lines) };
        Self {
            padding_height_m: it.padding.height_m,
            padding_in_place_m3_per_m: it.padding.in_place_m3_per_m,
            imported_padding: protection(it.imported_padding),
            armour: protection(it.armour),
            break_even_imported_price_per_m3: it.break_even_imported_price_per_m3,
        }
    }
}

fn lines(lines: Vec<calc::CostLine>) -> Vec<CostLine> {
    let lines = lines.into_iter().map(|it| CostLine {
        kind: it.kind,
        item: it.item,
        quantity: it.quantity,
        unit: it.unit,
        unit_price: it.unit_price,
        amount: it.amount,
    });
    lines.collect()
}
