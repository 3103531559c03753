//! One line of a bill.

use serde::{Deserialize, Serialize};

use crate::input::Bounds;

/// The admitted prices and amounts.
pub(crate) const PRICE: Bounds = Bounds::new(0.0, 1e9, "");
/// The admitted plain quantities.
pub(crate) const QUANTITY: Bounds = Bounds::new(0.0, 1e6, "");

/// What a line is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CostKind {
    /// Primer.
    Primer,
    /// Profiling mastic.
    Mastic,
    /// Tape with waste.
    Tape,
    /// Work of the crew.
    Labour,
    /// The inspector.
    Inspection,
    /// Consumables.
    Consumables,
    /// Expected repairs.
    Repair,
    /// Padding brought in.
    ImportedPadding,
    /// Native soil, screened.
    NativeFill,
    /// Rock shield round the pipe.
    Armour,
}

/// Quantity, unit price, amount. Unrounded.
#[derive(Debug, Clone, PartialEq)]
pub struct CostLine {
    /// What for.
    pub kind: CostKind,
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

impl CostLine {
    pub(crate) fn new(
        kind: CostKind,
        item: &str,
        quantity: f64,
        unit: &'static str,
        unit_price: f64,
    ) -> Self {
        let amount = quantity * unit_price;
        Self { kind, item: item.to_owned(), quantity, unit, unit_price, amount }
    }

    /// The same line `count` times.
    pub(crate) fn times(&self, count: f64) -> Self {
        Self::new(self.kind, &self.item, self.quantity * count, self.unit, self.unit_price)
    }

    /// The amount under the line.
    pub(crate) fn sum(lines: &[Self]) -> f64 {
        lines.iter().map(|it| it.amount).sum()
    }
}
