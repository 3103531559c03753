//! How much of a material, in its base unit.

use rust_decimal::Decimal;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use utoipa::{
    PartialSchema, ToSchema,
    openapi::{ObjectBuilder, RefOr, Schema, schema::Type},
};

/// The most that one movement may carry, base units.
const MOST: i64 = 10_000_000;

/// Decimal places that are kept: a millilitre, a gram, a millimetre.
const PLACES: u32 = 3;

/// A quantity that moves: more than nothing, at most 10,000,000 and with at most 3 decimals.
///
/// Its unit is the base unit of its material: m, L, kg or piece.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Quantity(Decimal);

/// Why a number is no quantity.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum QuantityError {
    /// Zero, less, or no number at all.
    #[error("a quantity must be more than 0")]
    NotPositive,
    /// Over the most.
    #[error("a quantity must be at most {MOST}")]
    TooMuch,
    /// Finer than what is kept.
    #[error("a quantity has at most {PLACES} decimals")]
    TooFine,
}

impl Quantity {
    /// The quantity `value`.
    pub fn new(value: Decimal) -> Result<Self, QuantityError> {
        let value = value.normalize();
        if value <= Decimal::ZERO {
            Err(QuantityError::NotPositive)
        } else if value > Decimal::from(MOST) {
            Err(QuantityError::TooMuch)
        } else if value.scale() > PLACES {
            Err(QuantityError::TooFine)
        } else {
            Ok(Self(value))
        }
    }

    /// The quantity that a JSON number says.
    pub fn from_number(number: f64) -> Result<Self, QuantityError> {
        if number > 1e9 {
            return Err(QuantityError::TooMuch);
        }
        Self::new(decimal(number).ok_or(QuantityError::NotPositive)?)
    }

    /// The number.
    pub const fn value(self) -> Decimal {
        self.0
    }
}

impl std::fmt::Display for Quantity {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        self.0.fmt(f)
    }
}

impl Serialize for Quantity {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_f64(number(self.0))
    }
}

impl<'de> Deserialize<'de> for Quantity {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let sent = f64::deserialize(deserializer)?;
        Self::from_number(sent).map_err(serde::de::Error::custom)
    }
}

impl PartialSchema for Quantity {
    fn schema() -> RefOr<Schema> {
        ObjectBuilder::new()
            .schema_type(Type::Number)
            .exclusive_minimum(Some(0))
            .maximum(Some(MOST))
            .description(Some("Base units of the material, with at most 3 decimals."))
            .into()
    }
}

impl ToSchema for Quantity {}

/// The decimal that the shortest text of `number` says, as a person wrote it; none where it is
/// too large, too fine or no number.
pub fn decimal(number: f64) -> Option<Decimal> {
    // The text of a number of JSON is what was sent, so 0.1 is a tenth and nothing beside it.
    number.to_string().parse::<Decimal>().ok().map(|it| it.normalize())
}

/// The nearest number that JSON has for `value`.
pub fn number(value: Decimal) -> f64 {
    // Every decimal is a text that reads as a number.
    value.to_string().parse().unwrap_or(f64::NAN)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quantity_is_more_than_nothing_and_no_finer_than_a_thousandth() {
        for good in [0.001, 1.0, 0.1, 12.345, 1e7, 9_999_999.999] {
            let quantity = Quantity::from_number(good).unwrap();
            assert!((number(quantity.value()) - good).abs() < f64::EPSILON, "{good}");
        }
        for (wrong, why) in [
            (0.0, QuantityError::NotPositive),
            (-1.0, QuantityError::NotPositive),
            (f64::NAN, QuantityError::NotPositive),
            (10_000_000.001, QuantityError::TooMuch),
            (1e300, QuantityError::TooMuch),
            (f64::INFINITY, QuantityError::TooMuch),
            (0.0001, QuantityError::TooFine),
            (1.2345, QuantityError::TooFine),
        ] {
            assert_eq!(Quantity::from_number(wrong), Err(why), "{wrong}");
        }
    }

    #[test]
    fn a_tenth_and_two_tenths_are_three_tenths() {
        let sum = [0.1, 0.2].map(|it| Quantity::from_number(it).unwrap().value());
        let [tenth, fifth] = sum;
        assert_eq!(Some(tenth + fifth), decimal(0.3));
    }

    #[test]
    fn in_json_it_is_a_number() {
        let quantity: Quantity = serde_json::from_str("12.50").unwrap();
        assert_eq!(serde_json::to_string(&quantity).unwrap(), "12.5");
        let refused = serde_json::from_str::<Quantity>("1.2345").unwrap_err();
        assert!(refused.to_string().contains("at most 3 decimals"), "{refused}");
    }
}
