//! Grades of the cleaned surface.

use std::fmt;

use serde::{Deserialize, Serialize};

/// A preparation grade of ISO 8501-1, in rising order.
///
/// Wording of the grades published; that a blast to Sa 2 stands over hand cleaning to St 3 is
/// common practice, no source. There is no St 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum SurfaceGrade {
    /// Thorough hand and power tool cleaning.
    #[serde(rename = "St 2")]
    St2,
    /// Very thorough hand and power tool cleaning.
    #[serde(rename = "St 3")]
    St3,
    /// Thorough blast cleaning.
    #[serde(rename = "Sa 2")]
    Sa2,
    /// Very thorough blast cleaning.
    #[serde(rename = "Sa 2½")]
    Sa2Half,
    /// Blast cleaning to visually clean steel.
    #[serde(rename = "Sa 3")]
    Sa3,
}

impl SurfaceGrade {
    /// Every grade, in rising order.
    pub const ALL: [Self; 5] = [Self::St2, Self::St3, Self::Sa2, Self::Sa2Half, Self::Sa3];

    /// As it is written.
    pub const fn name(self) -> &'static str {
        match self {
            Self::St2 => "St 2",
            Self::St3 => "St 3",
            Self::Sa2 => "Sa 2",
            Self::Sa2Half => "Sa 2½",
            Self::Sa3 => "Sa 3",
        }
    }

    /// Reads `St 3`, `sa2.5`, `Sa 2 1/2`, `Sa 2½`.
    pub fn parse(text: &str) -> Option<Self> {
        let plain: String = text.chars().filter(|it| !it.is_whitespace()).collect();
        match plain.to_lowercase().as_str() {
            "st2" => Some(Self::St2),
            "st3" => Some(Self::St3),
            "sa2" => Some(Self::Sa2),
            "sa2½" | "sa21/2" | "sa2.5" | "sa2,5" => Some(Self::Sa2Half),
            "sa3" => Some(Self::Sa3),
            _ => None,
        }
    }
}

impl fmt::Display for SurfaceGrade {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}
