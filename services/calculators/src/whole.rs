//! Whole numbers as JSON has them: `30` and `30.0` are the same number.

use serde::{Deserialize, Deserializer, de::Error};

/// Greatest whole number up to which every one has a double of its own.
const EXACT: f64 = 9_007_199_254_740_992.0;

/// Reads a whole number.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "whole and within range, as checked in the line before"
)]
pub(crate) fn whole<'de, D: Deserializer<'de>>(from: D) -> Result<u64, D::Error> {
    let number = serde_json::Number::deserialize(from)?;
    if let Some(whole) = number.as_u64() {
        return Ok(whole);
    }
    match number.as_f64() {
        Some(value) if value.fract() == 0.0 && (0.0..=EXACT).contains(&value) => Ok(value as u64),
        _ => Err(D::Error::custom(format!("{number} is not a whole number of 0 or more"))),
    }
}

/// Reads a whole number that may be absent.
pub(crate) fn optional<'de, D: Deserializer<'de>>(from: D) -> Result<Option<u64>, D::Error> {
    #[derive(Deserialize)]
    struct Whole(#[serde(deserialize_with = "whole")] u64);
    Ok(Option::<Whole>::deserialize(from)?.map(|it| it.0))
}
