//! What somebody must see, with the numbers behind it. It becomes a warning.

use serde_json::Value;

/// How much it presses.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Urgency {
    /// Somebody should look at it these days.
    Notice,
    /// Somebody must look at it today.
    Urgent,
}

impl Urgency {
    /// The name in JSON and SQL.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Notice => "notice",
            Self::Urgent => "urgent",
        }
    }
}

/// A condition, and the numbers behind it.
#[derive(Debug, Clone, PartialEq)]
pub struct Condition {
    /// What kind.
    pub kind: &'static str,
    /// What it is about: a material, a lot, a spread, a joint.
    pub subject: String,
    /// How much it presses.
    pub urgency: Urgency,
    /// What is the matter, in a sentence.
    pub detail: String,
    /// The numbers.
    pub values: Value,
}
