//! Catalogue items and their lots.

use calc::Limits;
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use super::item::{Item, Kind, Reference};
use crate::{
    ids::UserId,
    schema::{FieldError, Validate},
    stock::gs1::{check_digit, has_right_check_digit},
};

/// Tape as it comes on a roll.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TapeSupply {
    /// Width of the roll, mm.
    #[schema(minimum = 1, maximum = 2000)]
    pub roll_width_mm: f64,
    /// Length on the roll, m.
    #[schema(minimum = 0.1, maximum = 2000)]
    pub roll_length_m: f64,
    /// Thickness of the tape itself, mm.
    #[schema(minimum = 0, maximum = 20)]
    pub thickness_mm: f64,
    /// Waste on top of what is wrapped, %; 5 if absent (common practice, no source).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 100)]
    pub waste_percent: Option<f64>,
}

/// Primer as it comes in a tin.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PrimerSupply {
    /// What a litre covers, m²/L.
    #[schema(minimum = 0.1, maximum = 100)]
    pub coverage_m2_per_l: f64,
    /// Left in tin and brush, %; 10 if absent (common practice, no source).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 100)]
    pub loss_percent: Option<f64>,
}

/// Mastic.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MasticSupply {
    /// Density, kg/L.
    #[schema(minimum = 0.1, maximum = 10)]
    pub density_kg_per_l: f64,
    /// Left over, %; 10 if absent (common practice, no source).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 100)]
    pub loss_percent: Option<f64>,
}

/// What a material is counted in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub enum BaseUnit {
    /// Metres.
    #[serde(rename = "m")]
    Metre,
    /// Litres.
    #[serde(rename = "L")]
    Litre,
    /// Kilograms.
    #[serde(rename = "kg")]
    Kilogram,
    /// Pieces.
    #[serde(rename = "piece")]
    Piece,
}

impl BaseUnit {
    /// The symbol.
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Metre => "m",
            Self::Litre => "L",
            Self::Kilogram => "kg",
            Self::Piece => "piece",
        }
    }
}

/// A catalogue item with its limits. Of `tape`, `primer` and `mastic` it has at most one: what of
/// it decides how much a joint takes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Material {
    /// Code, such as `PRIMER-B`.
    #[schema(min_length = 1, max_length = 40)]
    pub code: String,
    /// Name for people.
    #[schema(min_length = 1, max_length = 200)]
    pub name: String,
    /// Conditions it may be applied in.
    #[serde(default)]
    #[schema(value_type = super::inspection_plan::ConditionLimits)]
    pub limits: Limits,
    /// Least time between putting it on and the next layer, minutes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 100_000)]
    pub flash_off_min: Option<i64>,
    /// Longest time between putting it on and the next layer, minutes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 100_000)]
    pub open_time_min: Option<i64>,
    /// How it comes, if it is a tape.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tape: Option<TapeSupply>,
    /// How it comes, if it is a primer.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub primer: Option<PrimerSupply>,
    /// How it comes, if it is a mastic.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mastic: Option<MasticSupply>,
    /// What it is counted in, if it is neither tape (m) nor primer (L) nor mastic (kg); pieces if
    /// absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<BaseUnit>,
    /// Days from an order to its delivery.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 1000)]
    pub lead_time_days: Option<f64>,
    /// Days of use that should always be in stock.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 1000)]
    pub safety_days: Option<f64>,
    /// Base units in what is ordered as one, such as the metres in a carton of rolls.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(exclusive_minimum = 0, maximum = 10_000_000)]
    pub pack_quantity: Option<f64>,
    /// Cost of a base unit, in whatever currency the project reckons.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 10_000_000)]
    pub unit_cost: Option<f64>,
    /// GTIN of its trade item, by which a scanned label is recognised: 14 digits with a right
    /// check digit, shorter ones with zeros before them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(pattern = "^[0-9]{14}$")]
    pub gtin: Option<String>,
    /// Lowest temperature it may be stored at, °C.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = -60, maximum = 100)]
    pub storage_min_c: Option<f64>,
    /// Highest temperature it may be stored at, °C.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = -60, maximum = 100)]
    pub storage_max_c: Option<f64>,
    /// How long it keeps from its production, months.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 600)]
    pub shelf_life_months: Option<u32>,
}

impl Material {
    /// A material with nothing but its code and name.
    pub fn named(code: &str, name: &str) -> Self {
        Self {
            code: code.to_owned(),
            name: name.to_owned(),
            limits: Limits::default(),
            flash_off_min: None,
            open_time_min: None,
            tape: None,
            primer: None,
            mastic: None,
            unit: None,
            lead_time_days: None,
            safety_days: None,
            pack_quantity: None,
            unit_cost: None,
            gtin: None,
            storage_min_c: None,
            storage_max_c: None,
            shelf_life_months: None,
        }
    }

    /// What it is counted in.
    pub fn unit(&self) -> BaseUnit {
        if self.tape.is_some() {
            BaseUnit::Metre
        } else if self.primer.is_some() {
            BaseUnit::Litre
        } else if self.mastic.is_some() {
            BaseUnit::Kilogram
        } else {
            self.unit.unwrap_or(BaseUnit::Piece)
        }
    }
}

impl Validate for Material {
    fn faults(&self) -> Vec<FieldError> {
        let mut faults = Vec::new();
        if let (Some(least), Some(longest)) = (self.flash_off_min, self.open_time_min)
            && least >= longest
        {
            let detail = format!("must be more than flash_off_min, which is {least}");
            faults.push(FieldError::new("/open_time_min", "OUT_OF_RANGE", detail));
        }
        let forms = [
            ("tape", self.tape.is_some()),
            ("primer", self.primer.is_some()),
            ("mastic", self.mastic.is_some()),
        ];
        let mut given = forms.iter().filter(|(_, given)| *given);
        if let Some((first, _)) = given.next() {
            faults.extend(given.map(|(form, _)| {
                let detail = format!("a material has one form, and this one is a {first} already");
                FieldError::new(&format!("/{form}"), "ANOTHER_FORM", detail)
            }));
            if self.unit.is_some() {
                let unit = self.unit().symbol();
                let detail = format!("leave it out: a {first} is counted in {unit}");
                faults.push(FieldError::new("/unit", "NOT_ALLOWED", detail));
            }
        }
        if let (Some(lowest), Some(highest)) = (self.storage_min_c, self.storage_max_c)
            && lowest >= highest
        {
            let detail = format!("must be more than storage_min_c, which is {lowest}");
            faults.push(FieldError::new("/storage_max_c", "OUT_OF_RANGE", detail));
        }
        if let Some(gtin) = &self.gtin
            && !has_right_check_digit(gtin)
        {
            let right = gtin.get(..13).and_then(check_digit);
            let detail = match right {
                Some(right) => format!("ends with a wrong check digit; right would be {right}"),
                None => "must be 14 digits".to_owned(),
            };
            faults.push(FieldError::new("/gtin", "CHECK_DIGIT", detail));
        }
        faults
    }
}

impl Item for Material {
    const KIND: Kind = Kind::Material;

    fn code(&self) -> &str {
        &self.code
    }
}

/// A time in which a lot must not be used.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Quarantine {
    /// From when.
    pub from: DateTime<Utc>,
    /// Until when; still in force if absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub until: Option<DateTime<Utc>>,
    /// Why.
    #[schema(min_length = 3, max_length = 2000)]
    pub reason: String,
    /// Made by the client, so that a repeated send is recognised.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub id: Option<Uuid>,
    /// When it was decided: after `from` where the lot is recalled. None where the lot came with it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub decided_at: Option<DateTime<Utc>>,
    /// Who decided it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub decided_by: Option<UserId>,
    /// Who lifted it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lifted_by: Option<UserId>,
    /// Why it was lifted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 3, max_length = 2000)]
    pub lift_reason: Option<String>,
}

impl Quarantine {
    /// A quarantine that nobody here decided: the lot comes with it.
    pub fn of(from: DateTime<Utc>, until: Option<DateTime<Utc>>, reason: &str) -> Self {
        Self {
            from,
            until,
            reason: reason.to_owned(),
            id: None,
            decided_at: None,
            decided_by: None,
            lifted_by: None,
            lift_reason: None,
        }
    }
}

/// A longer shelf life, given after a new test.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ShelfLifeExtension {
    /// Last day it may be used from then on, in the project's time zone.
    pub expires_on: NaiveDate,
    /// Number of the certificate of the test.
    #[schema(min_length = 1, max_length = 200)]
    pub certificate: String,
    /// Why.
    #[schema(min_length = 3, max_length = 2000)]
    pub reason: String,
    /// When it was approved: what was used before is not cured by it.
    pub approved_at: DateTime<Utc>,
    /// Who approved it.
    pub approved_by: UserId,
}

/// One manufacturer's batch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Lot {
    /// Lot code as printed on the roll or tin.
    #[schema(min_length = 1, max_length = 60)]
    pub code: String,
    /// Code of its material.
    pub material: String,
    /// Production date.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub produced_on: Option<NaiveDate>,
    /// Last day it may be used as printed on it, in the project's time zone.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expires_on: Option<NaiveDate>,
    /// Quarantines, past and present. A lot can come with some; later ones are placed and lifted
    /// by operations of their own.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub quarantines: Vec<Quarantine>,
    /// Extensions of its shelf life, in the order of their approval; given by an operation of its
    /// own.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub extensions: Vec<ShelfLifeExtension>,
}

impl Lot {
    /// The quarantine in force at `at`.
    pub fn quarantined_at(&self, at: DateTime<Utc>) -> Option<&Quarantine> {
        self.quarantines.iter().find(|it| it.from <= at && it.until.is_none_or(|until| at < until))
    }

    /// The last day on which it may be used, as it was known at `at`; none if it does not expire.
    pub fn last_day_at(&self, at: DateTime<Utc>) -> Option<NaiveDate> {
        let printed = self.expires_on?;
        let known = self.extensions.iter().filter(|it| it.approved_at <= at);
        Some(known.max_by_key(|it| it.approved_at).map_or(printed, |it| it.expires_on))
    }
}

impl Validate for Lot {
    fn faults(&self) -> Vec<FieldError> {
        match (self.produced_on, self.expires_on) {
            (Some(made), Some(last)) if last < made => {
                let detail = format!("must not be before produced_on, which is {made}");
                vec![FieldError::new("/expires_on", "OUT_OF_RANGE", detail)]
            }
            _ => Vec::new(),
        }
    }
}

impl Item for Lot {
    const KIND: Kind = Kind::Lot;

    fn code(&self) -> &str {
        &self.code
    }

    fn references(&self) -> Vec<Reference> {
        vec![Reference::new("/material", Kind::Material, &self.material)]
    }

    fn changed_elsewhere(&self, before: Option<&Self>) -> Vec<FieldError> {
        let mut faults = Vec::new();
        let mut refuse = |pointer: &str, how: &str| {
            let detail = format!("changes by {how} only: send it as it is");
            faults.push(FieldError::new(pointer, "CHANGED_ELSEWHERE", detail));
        };
        if before.is_some_and(|before| before.quarantines != self.quarantines) {
            refuse("/quarantines", "placing and lifting a quarantine");
        }
        if before.map_or(&[][..], |before| &before.extensions) != self.extensions {
            refuse("/extensions", "an extension of the shelf life");
        }
        faults
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Each is a GTIN-13 with the leading zero that makes 14 digits of it. Published: GS1, "How to
    /// calculate a check digit manually"; GS1 Sweden, "Så beräknas kontrollsiffran"; GS1 India, on
    /// the check digit. The GTIN-14 is from a software maker's support page on the same (second-hand).
    #[test]
    fn the_last_digit_of_a_gtin_checks_the_others() {
        for gtin in ["06291041500213", "07300011000017", "08904000210037", "40987650000223"] {
            assert!(has_right_check_digit(gtin), "{gtin}");
            let (others, last) = gtin.split_at(13);
            let last: u32 = last.parse().unwrap();
            for wrong in (0..10).filter(|digit| *digit != last) {
                assert!(!has_right_check_digit(&format!("{others}{wrong}")), "{gtin} {wrong}");
            }
        }
    }

    #[test]
    fn a_material_is_counted_as_it_comes() {
        let mut material = Material::named("M", "A material");
        assert_eq!(material.unit(), BaseUnit::Piece);
        material.unit = Some(BaseUnit::Metre);
        assert_eq!(material.unit(), BaseUnit::Metre);
        assert_eq!(material.faults(), []);
        material.mastic = Some(MasticSupply { density_kg_per_l: 1.3, loss_percent: None });
        assert_eq!(material.unit(), BaseUnit::Kilogram);
        let faults = material.faults();
        assert_eq!(
            (faults[0].pointer.as_str(), faults[0].code.as_str()),
            ("#/unit", "NOT_ALLOWED")
        );
    }

    #[test]
    fn a_store_is_not_hotter_than_cold() {
        let mut material = Material::named("M", "A material");
        material.storage_min_c = Some(30.0);
        material.storage_max_c = Some(30.0);
        material.gtin = Some("06291041500214".to_owned());
        let codes: Vec<String> = material.faults().into_iter().map(|it| it.code).collect();
        assert_eq!(codes, ["OUT_OF_RANGE", "CHECK_DIGIT"]);
    }
}
