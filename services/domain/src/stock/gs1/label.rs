//! What a label says.

use chrono::NaiveDate;
use serde::Serialize;
use utoipa::ToSchema;

use super::{calendar, fault::ScanNotice, source::Element};

/// Which side of the tape is outside on the roll.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Winding {
    /// Face out.
    FaceOut,
    /// Face in.
    FaceIn,
    /// Not said.
    Undefined,
}

/// What (8001) says of a roll.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct RollDimensions {
    /// Width of the slit roll, mm.
    pub width_mm: u32,
    /// Length on the roll, m.
    pub length_m: u32,
    /// Inside diameter of its core, mm.
    pub core_mm: u32,
    /// Which side is outside.
    pub winding: Winding,
    /// Splices in it; absent where the label has 9, which stands for an unknown number (from
    /// memory, unverified).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub splices: Option<u32>,
}

/// An identifier of which no field is made.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct ElementView {
    /// The identifier, such as `240`.
    pub identifier: String,
    /// Its title in the standard.
    pub title: String,
    /// Its value as it stands there.
    pub value: String,
}

/// A label that reads without a fault.
#[derive(Debug, Clone, PartialEq, Default, Serialize, ToSchema)]
pub struct Label {
    /// (01) The article, 14 digits.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub gtin: Option<String>,
    /// (10) Lot, as it is written.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lot: Option<String>,
    /// (11) Made on.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub produced_on: Option<NaiveDate>,
    /// (15) Best before.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub best_before: Option<NaiveDate>,
    /// (17) Last day of use.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub expires_on: Option<NaiveDate>,
    /// (21) The single roll or tin.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub serial: Option<String>,
    /// (37) Pieces in a logistic unit, or (30) in a pack of variable count.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub count: Option<u32>,
    /// (311n) Net length, m.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub net_length_m: Option<f64>,
    /// (310n) Net weight, kg.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub net_weight_kg: Option<f64>,
    /// (315n) Net volume, L.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub net_volume_l: Option<f64>,
    /// (8001) Dimensions of a roll.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub roll_dimensions: Option<RollDimensions>,
    /// (00) The single carton or pallet.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sscc: Option<String>,
    /// (02) The article inside a carton or pallet, 14 digits.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub content_gtin: Option<String>,
    /// Everything else on the label.
    pub others: Vec<ElementView>,
    /// What to look at before the label is believed.
    #[serde(skip)]
    pub notices: Vec<ScanNotice>,
}

impl Label {
    /// The fields of elements that have no fault.
    pub(super) fn of(elements: &[Element], notices: Vec<ScanNotice>, today: NaiveDate) -> Self {
        let mut label = Self { notices, ..Self::default() };
        for element in elements {
            label.take(element, today);
        }
        label
    }

    /// The article: of the thing itself, or of what is in it.
    pub fn article(&self) -> Option<&str> {
        self.gtin.as_deref().or(self.content_gtin.as_deref())
    }

    fn take(&mut self, element: &Element, today: NaiveDate) {
        let value = &element.value;
        let text = || Some(value.clone());
        let day = || calendar::day(value, true, today).ok();
        match element.code.as_str() {
            "00" => self.sscc = text(),
            "01" => self.gtin = text(),
            "02" => self.content_gtin = text(),
            "10" => self.lot = text(),
            "11" => self.produced_on = day(),
            "15" => self.best_before = day(),
            "17" => self.expires_on = day(),
            "21" => self.serial = text(),
            "30" | "37" => self.count = value.parse().ok(),
            "8001" => self.roll_dimensions = roll(value),
            code if code.starts_with("310") => self.net_weight_kg = measure(code, value),
            code if code.starts_with("311") => self.net_length_m = measure(code, value),
            code if code.starts_with("315") => self.net_volume_l = measure(code, value),
            code => self.others.push(ElementView {
                identifier: code.to_owned(),
                title: element.identifier.title.to_owned(),
                value: value.clone(),
            }),
        }
    }
}

/// Four digits width, five length, three core, one winding, one number of splices.
fn roll(digits: &str) -> Option<RollDimensions> {
    let number = |from: usize, to: usize| digits.get(from..to)?.parse::<u32>().ok();
    Some(RollDimensions {
        width_mm: number(0, 4)?,
        length_m: number(4, 9)?,
        core_mm: number(9, 12)?,
        winding: match number(12, 13)? {
            0 => Winding::FaceOut,
            1 => Winding::FaceIn,
            _ => Winding::Undefined,
        },
        splices: number(13, 14).filter(|it| *it < 9),
    })
}

/// Six digits, the last ones of which are decimals: as many as the last digit of the identifier.
fn measure(code: &str, digits: &str) -> Option<f64> {
    let decimals: usize = code.get(3..)?.parse().ok()?;
    let (whole, part) = digits.split_at_checked(digits.len().checked_sub(decimals)?)?;
    format!("{whole}.{part}0").parse().ok()
}
