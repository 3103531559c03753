//! The decision to hand material out to a crew.

use chrono::NaiveDate;
use rust_decimal::Decimal;
use serde::Serialize;
use utoipa::ToSchema;

use super::{Blocked, LotOnHand, Part, Quantity, first_expired_first, number, propose};
use crate::setup::ProjectSetup;

/// What is to be handed out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Pick {
    /// So much of a material, of whichever lots come first.
    Material,
    /// So much of this very lot.
    Lot(String),
}

/// What is asked.
#[derive(Debug, Clone)]
pub struct IssueAsk<'a> {
    /// Which lots.
    pub pick: &'a Pick,
    /// How much.
    pub quantity: Quantity,
    /// The day on site.
    pub day: NaiveDate,
    /// Whether a reason was given to leave the order.
    pub has_reason: bool,
    /// Code of the material.
    pub material: &'a str,
    /// Its base unit.
    pub unit: &'static str,
    /// Code of the place that it leaves.
    pub from: &'a str,
    /// Code of the spread whose coating systems have no use for the material, if they have none.
    pub useless_to: Option<&'a str>,
}

/// What is handed out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Issue {
    /// Lots and quantities.
    pub parts: Vec<Part>,
    /// Another lot should have gone first.
    pub against_order: bool,
}

/// A condition that stands in the way.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct IssueRefusal {
    /// `LOT_EXPIRED`, `LOT_QUARANTINED`, `NOT_IN_SYSTEM` or `NOT_ENOUGH`.
    pub code: &'static str,
    /// What stands in the way and what is there.
    pub detail: String,
    /// The lot that it is about.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lot: Option<String>,
    /// What is left for use, base units; with `NOT_ENOUGH`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub left: Option<f64>,
}

impl IssueRefusal {
    /// Why `lot` is blocked.
    pub fn blocked(lot: &str, blocked: &Blocked) -> Self {
        let (code, detail) = match blocked {
            Blocked::Expired { last_day } => {
                ("LOT_EXPIRED", format!("the last day of lot {lot} was {last_day}"))
            }
            Blocked::Quarantined { reason } => {
                ("LOT_QUARANTINED", format!("lot {lot} is in quarantine: {reason}"))
            }
        };
        Self { code, detail, lot: Some(lot.to_owned()), left: None }
    }
}

/// Why nothing is handed out.
#[derive(Debug, Clone, PartialEq)]
pub enum NotIssued {
    /// Every condition that stands in the way.
    Refused(Vec<IssueRefusal>),
    /// The lot is not the one that should go first: this takes a reason.
    ReasonRequired {
        /// The lot that should go first.
        proposed: String,
        /// Its last day.
        last_day: Option<NaiveDate>,
    },
}

/// Decides on `ask`; `lots` are those of the material that the place holds.
pub fn decide_issue(ask: &IssueAsk<'_>, lots: &[LotOnHand]) -> Result<Issue, NotIssued> {
    let mut refusals = Vec::new();
    if let Some(spread) = ask.useless_to {
        let detail = format!(
            "no coating system of a section of spread {spread} has the material {}",
            ask.material
        );
        refusals.push(IssueRefusal { code: "NOT_IN_SYSTEM", detail, lot: None, left: None });
    }
    let issue = match ask.pick {
        Pick::Material => of_material(ask, lots, &mut refusals),
        Pick::Lot(code) => of_lot(ask, code, lots, &mut refusals),
    };
    if !refusals.is_empty() {
        return Err(NotIssued::Refused(refusals));
    }
    if issue.against_order && !ask.has_reason {
        let first = first_expired_first(lots, ask.day).into_iter().next();
        if let Some(first) = first {
            let (proposed, last_day) = (first.lot.clone(), first.last_day);
            return Err(NotIssued::ReasonRequired { proposed, last_day });
        }
    }
    Ok(issue)
}

fn of_material(ask: &IssueAsk<'_>, lots: &[LotOnHand], refusals: &mut Vec<IssueRefusal>) -> Issue {
    let proposal = propose(lots, ask.quantity, ask.day);
    if proposal.usable < ask.quantity.value() {
        // What lies there and may not be used is part of the answer to "but there is some".
        for lot in lots.iter().filter(|lot| lot.quantity > Decimal::ZERO) {
            let blocked = lot.blocked(ask.day);
            refusals.extend(blocked.iter().map(|it| IssueRefusal::blocked(&lot.lot, it)));
        }
        let what = format!("{} for use", ask.material);
        refusals.push(not_enough(ask, &what, None, proposal.usable));
    }
    Issue { parts: proposal.parts, against_order: false }
}

fn of_lot(
    ask: &IssueAsk<'_>,
    code: &str,
    lots: &[LotOnHand],
    refusals: &mut Vec<IssueRefusal>,
) -> Issue {
    let found = lots.iter().find(|lot| lot.lot == code);
    if let Some(lot) = found {
        let blocked = lot.blocked(ask.day);
        refusals.extend(blocked.iter().map(|it| IssueRefusal::blocked(code, it)));
    }
    let left = found.map(|lot| lot.quantity).unwrap_or_default();
    if left < ask.quantity.value() {
        let what = format!("lot {code}");
        refusals.push(not_enough(ask, &what, Some(code.to_owned()), left));
    }
    let sooner = |lot: &&LotOnHand| found.is_some_and(|named| lot.expires_before(named));
    let against_order = first_expired_first(lots, ask.day).iter().any(sooner);
    let parts = vec![Part { lot: code.to_owned(), quantity: ask.quantity }];
    Issue { parts, against_order }
}

fn not_enough(ask: &IssueAsk<'_>, what: &str, lot: Option<String>, left: Decimal) -> IssueRefusal {
    let (from, unit, wanted) = (ask.from, ask.unit, ask.quantity);
    let detail = format!(
        "{from} has {} {unit} of {what} left, and {wanted} {unit} are asked for",
        left.normalize()
    );
    IssueRefusal { code: "NOT_ENOUGH", detail, lot, left: Some(number(left)) }
}

/// Whether a coating system of a section of `spread` has `material` in one of its layers. A
/// section that no spread is set down for may be anybody's.
pub fn in_a_system_of(setup: &ProjectSetup, spread: &str, material: &str) -> bool {
    let sections = setup.sections.values();
    let sections =
        sections.filter(|section| section.spread.as_deref().is_none_or(|it| it == spread));
    let mut systems = sections.filter_map(|section| setup.systems.get(&section.coating_system));
    systems.any(|system| system.layers.iter().any(|layer| layer.material == material))
}
