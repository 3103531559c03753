//! Imported padding against native fill with armour.

use std::f64::consts::PI;

use units::{Length, Percent};

use crate::{
    cost_line::{CostKind, CostLine, PRICE},
    input::{Bounds, Faults, InputError},
    trench::{Padding, Trench, padding},
};

/// How the pipe between two joints can be protected from stones.
#[derive(Debug, Clone, PartialEq)]
pub struct Burial {
    /// The padded part of the trench.
    pub trench: Trench,
    /// Distance from joint to joint.
    pub joint_spacing: Length,
    /// Loose over compacted volume: what is ordered on top of what is in place. 10 to 25 % is
    /// common practice, no source.
    pub bulking: Percent,
    /// Price of imported padding, per m³ ordered.
    pub imported_price_per_m3: f64,
    /// Price of native fill, screened on the spot, per m³.
    pub native_price_per_m3: f64,
    /// Price of armour, per m².
    pub armour_price_per_m2: f64,
    /// Thickness of the armour; its area is taken on its outside.
    pub armour_thickness: Length,
    /// Laps and waste of the armour.
    pub armour_lap: Percent,
}

/// One way of protecting the pipe, for one joint's length of pipe.
#[derive(Debug, Clone, PartialEq)]
pub struct Protection {
    /// Its lines.
    pub lines: Vec<CostLine>,
    /// Their sum.
    pub per_joint: f64,
}

/// Both ways.
#[derive(Debug, Clone, PartialEq)]
pub struct BurialCost {
    /// Padding in place, per metre.
    pub padding: Padding,
    /// Padding brought in.
    pub imported_padding: Protection,
    /// Native fill and armour round the pipe.
    pub armour: Protection,
    /// The price of imported padding per m³ at which both cost the same: under it padding is
    /// cheaper, over it armour.
    pub break_even_imported_price_per_m3: f64,
}

/// Prices both ways for one joint's length of pipe.
pub fn burial_cost(burial: &Burial) -> Result<BurialCost, InputError> {
    let mut faults = Faults::default();
    let spacing_mm = burial.joint_spacing.as_millimetres();
    let armour_mm = burial.armour_thickness.as_millimetres();
    faults.range("joint_spacing_mm", spacing_mm, Bounds::new(1.0, 1e6, "mm"));
    faults.range("armour_thickness_mm", armour_mm, Bounds::new(0.0, 1000.0, "mm"));
    faults.range("imported_price_per_m3", burial.imported_price_per_m3, PRICE);
    faults.range("native_price_per_m3", burial.native_price_per_m3, PRICE);
    faults.range("armour_price_per_m2", burial.armour_price_per_m2, PRICE);
    let padding = faults.absorb("trench", padding(&burial.trench));
    let padding = faults.finish(padding)?;

    let spacing = burial.joint_spacing.as_metres();
    let volume = burial.bulking.on_top_of(padding.in_place_m3_per_m * spacing);
    let outside =
        burial.trench.coated_diameter.as_metres() + 2.0 * burial.armour_thickness.as_metres();
    let area = burial.armour_lap.on_top_of(PI * outside * spacing);
    let line = |kind, item, quantity, unit, price| CostLine::new(kind, item, quantity, unit, price);
    let imported = burial.imported_price_per_m3;
    let imported_padding = Protection::of(vec![line(
        CostKind::ImportedPadding,
        "imported padding",
        volume,
        "m³",
        imported,
    )]);
    let armour = Protection::of(vec![
        line(CostKind::NativeFill, "native fill", volume, "m³", burial.native_price_per_m3),
        line(CostKind::Armour, "armour", area, "m²", burial.armour_price_per_m2),
    ]);
    let break_even_imported_price_per_m3 = armour.per_joint / volume;
    Ok(BurialCost { padding, imported_padding, armour, break_even_imported_price_per_m3 })
}

impl Protection {
    fn of(lines: Vec<CostLine>) -> Self {
        Self { per_joint: CostLine::sum(&lines), lines }
    }
}
