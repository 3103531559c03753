//! A coating system: ordered layers, each a material with its way of application.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::item::{Item, Kind, Reference};
use crate::{
    joints::{JointKind, state::LayerRole},
    schema::{FieldError, Validate},
};

/// One layer of a system.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Layer {
    /// Which layer.
    pub role: LayerRole,
    /// Code of its material.
    pub material: String,
    /// Thickness that it adds when applied as specified, mm; 0 for a primer.
    #[schema(minimum = 0, maximum = 50)]
    pub thickness_mm: f64,
    /// Least overlap, % of the tape's width.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, exclusive_maximum = 100)]
    pub overlap_min_percent: Option<f64>,
    /// Overlap that it is wrapped with, % of the tape's width; the least one if absent, else 55
    /// (second-hand: a double layer all over).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, exclusive_maximum = 100)]
    pub overlap_percent: Option<f64>,
    /// Full turns without advance, both ends together; 2 if absent (common practice, no source).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 20)]
    pub straight_turns: Option<f64>,
    /// Lap onto the plant coating at each side, mm; 50 if absent (published: at least 50 mm, a
    /// line-pipe mill's laying instructions).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 1000)]
    pub lap_mm: Option<f64>,
    /// Lap where a new roll is joined on, mm; 150 if absent (second-hand).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 1000)]
    pub splice_lap_mm: Option<f64>,
    /// Length of the ramp of mastic at each edge of the plant coating, mm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 200)]
    pub edge_ramp_mm: Option<f64>,
    /// Height of the weld cap that mastic is laid against, mm; none if absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 20)]
    pub weld_cap_mm: Option<f64>,
    /// Length of the ramp of mastic at each toe of the weld, mm; as at the edges if absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 200)]
    pub weld_ramp_mm: Option<f64>,
    /// Kinds of joints that need it; all kinds if empty.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub only_on: Vec<JointKind>,
}

impl Layer {
    /// A layer of `material` with nothing else said of it.
    pub fn of(role: LayerRole, material: &str, thickness_mm: f64) -> Self {
        Self {
            role,
            material: material.to_owned(),
            thickness_mm,
            overlap_min_percent: None,
            overlap_percent: None,
            straight_turns: None,
            lap_mm: None,
            splice_lap_mm: None,
            edge_ramp_mm: None,
            weld_cap_mm: None,
            weld_ramp_mm: None,
            only_on: Vec::new(),
        }
    }

    /// Whether a joint of `kind` needs it.
    pub fn needed_on(&self, kind: JointKind) -> bool {
        self.only_on.is_empty() || self.only_on.contains(&kind)
    }
}

/// An ordered list of layers on a surface of a given grade.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CoatingSystem {
    /// Code, such as `CT-A`.
    #[schema(min_length = 1, max_length = 40)]
    pub code: String,
    /// Name for people.
    #[schema(min_length = 1, max_length = 200)]
    pub name: String,
    /// Grade of the surface under it, such as `St 3` (ISO 8501-1).
    #[schema(min_length = 1, max_length = 20)]
    pub surface_grade: String,
    /// Least thickness of the whole, mm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 100)]
    pub thickness_min_mm: Option<f64>,
    /// The layers, first on the steel.
    #[schema(min_items = 1, max_items = 12)]
    pub layers: Vec<Layer>,
}

impl CoatingSystem {
    /// The layers that a joint of `kind` needs, in order.
    pub fn layers_on(&self, kind: JointKind) -> impl Iterator<Item = &Layer> {
        self.layers.iter().filter(move |layer| layer.needed_on(kind))
    }
}

impl Validate for CoatingSystem {
    fn faults(&self) -> Vec<FieldError> {
        let twice = self.layers.iter().enumerate().filter(|(index, layer)| {
            self.layers.iter().take(*index).any(|earlier| earlier.role == layer.role)
        });
        twice
            .map(|(index, layer)| {
                let detail = format!("the {} is in the list already", layer.role.words());
                FieldError::new(&format!("/layers/{index}/role"), "DUPLICATE", detail)
            })
            .collect()
    }
}

impl Item for CoatingSystem {
    const KIND: Kind = Kind::CoatingSystem;

    fn code(&self) -> &str {
        &self.code
    }

    fn references(&self) -> Vec<Reference> {
        let named = self.layers.iter().enumerate();
        named
            .map(|(index, layer)| {
                Reference::new(format!("/layers/{index}/material"), Kind::Material, &layer.material)
            })
            .collect()
    }
}
