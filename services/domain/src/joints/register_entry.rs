//! What the register says of a joint before any fact.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// The kinds of joints.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum JointKind {
    /// Between two pipes of a string.
    Mainline,
    /// Joins two strings in the trench.
    TieIn,
    /// At a bend, tee or valve.
    Fitting,
    /// Buried flange.
    Flange,
    /// Cable of the cathodic protection.
    CpConnection,
}

impl JointKind {
    /// Every kind.
    pub const ALL: [Self; 5] =
        [Self::Mainline, Self::TieIn, Self::Fitting, Self::Flange, Self::CpConnection];

    /// The name in JSON, SQL and CSV.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Mainline => "mainline",
            Self::TieIn => "tie_in",
            Self::Fitting => "fitting",
            Self::Flange => "flange",
            Self::CpConnection => "cp_connection",
        }
    }

    /// The kind of that name; `tie-in` and `tie in` are read as well.
    pub fn parse(text: &str) -> Option<Self> {
        let name = text.trim().to_lowercase().replace(['-', ' '], "_");
        Self::ALL.into_iter().find(|kind| kind.name() == name)
    }
}

/// One line of the joint register.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RegisterEntry {
    /// Number, unique in the project.
    pub joint_number: String,
    /// Kilometre point, m from the start.
    pub kp_m: f64,
    /// Code of the section.
    pub section: String,
    /// Kind.
    pub kind: JointKind,
    /// Coating system where it is not the section's own.
    pub coating_system: Option<String>,
    /// Number of the pipe before it, in rising KP.
    pub pipe_before: Option<String>,
    /// Number of the pipe after it.
    pub pipe_after: Option<String>,
    /// Heat number of the pipe before it.
    pub heat_before: Option<String>,
    /// Heat number of the pipe after it.
    pub heat_after: Option<String>,
    /// Person code or stamp of the welder.
    pub welder: Option<String>,
    /// Day of the weld.
    pub welded_on: Option<NaiveDate>,
}
