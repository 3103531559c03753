//! What a fact says about the material that was used.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{
    event::Event,
    state::{LayerRole, role_of},
};
use crate::schema::FieldError;

/// The most of one lot that one fact can have used.
const MOST: f64 = 10_000_000.0;

/// The longest code of a lot, in characters.
const LONGEST_CODE: usize = 60;

/// How much of a lot was used, in the base unit of its material, with at most three decimals.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(transparent)]
#[schema(exclusive_minimum = 0, maximum = 10_000_000)]
pub struct UsedQuantity(pub f64);

/// How much was used, by the code of the lot.
pub type UsedQuantities = BTreeMap<String, UsedQuantity>;

/// The material part of a fact that puts material on a joint.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LotWork<'a> {
    /// The layer that was made; none for a repair.
    pub layer: Option<LayerRole>,
    /// Lot codes as the fact names them.
    pub lots: &'a [String],
    /// How much of them, where the fact says so.
    pub quantities: &'a UsedQuantities,
    /// Crew code.
    pub crew: Option<&'a str>,
}

impl LotWork<'_> {
    /// The lots that the fact names, each once. A word that is too long is the code of no lot.
    pub fn codes(&self) -> BTreeSet<&str> {
        let lots = self.lots.iter().map(String::as_str);
        lots.filter(|code| (1..=LONGEST_CODE).contains(&code.chars().count())).collect()
    }

    /// How much of the lot `code` the fact says was used.
    pub fn quantity(&self, code: &str) -> Option<f64> {
        self.quantities.get(code).map(|used| used.0)
    }

    /// What is wrong with the quantities, beyond what their schema says.
    pub fn faults(&self) -> Vec<FieldError> {
        let mut faults = Vec::new();
        for (code, UsedQuantity(used)) in self.quantities {
            let pointer = format!("/quantities/{}", code.replace('~', "~0").replace('/', "~1"));
            if !self.codes().contains(code.as_str()) {
                let detail = format!("`{code}` is none of `lots`");
                faults.push(FieldError::new(&pointer, "NOT_AMONG_LOTS", detail));
            }
            if !(*used > 0.0 && *used <= MOST) {
                let detail =
                    format!("{used} is out of range: it must be over 0 and at most {MOST}");
                faults.push(FieldError::new(&pointer, "OUT_OF_RANGE", detail));
            } else if !has_three_decimals(*used) {
                let detail = format!("{used} has more than three decimals");
                faults.push(FieldError::new(&pointer, "TOO_PRECISE", detail));
            }
        }
        faults
    }
}

/// The nearest double of a number of at most three decimals is what dividing whole thousandths
/// gives: both are rounded correctly.
#[expect(clippy::float_cmp, reason = "the very same double is asked for")]
fn has_three_decimals(value: f64) -> bool {
    (value * 1000.0).round() / 1000.0 == value
}

impl Event {
    /// The material part of this fact, if it is of a kind that uses material.
    pub fn lot_work(&self) -> Option<LotWork<'_>> {
        let (layer, lots, quantities, crew) = match self {
            Self::Primed(it) => (Some(LayerRole::Primer), &it.lots, &it.quantities, &it.crew),
            Self::Profiled(it) => {
                (Some(LayerRole::ProfilingMastic), &it.lots, &it.quantities, &it.crew)
            }
            Self::Wrapped(it) => (Some(role_of(it.layer)), &it.lots, &it.quantities, &it.crew),
            Self::Repaired(it) => (None, &it.lots, &it.quantities, &it.crew),
            _ => return None,
        };
        Some(LotWork { layer, lots, quantities, crew: crew.as_deref() })
    }
}
