//! The header line: which column stands where.

use csv::StringRecord;

use super::RowError;

/// The columns of a register.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Column {
    JointNumber,
    Kp,
    Section,
    Kind,
    PipeBefore,
    PipeAfter,
    HeatBefore,
    HeatAfter,
    Welder,
    WeldDate,
    CoatingSystem,
}

impl Column {
    pub(super) const ALL: [Self; 11] = [
        Self::JointNumber,
        Self::Kp,
        Self::Section,
        Self::Kind,
        Self::PipeBefore,
        Self::PipeAfter,
        Self::HeatBefore,
        Self::HeatAfter,
        Self::Welder,
        Self::WeldDate,
        Self::CoatingSystem,
    ];

    pub(super) const fn name(self) -> &'static str {
        match self {
            Self::JointNumber => "joint_number",
            Self::Kp => "kp",
            Self::Section => "section",
            Self::Kind => "kind",
            Self::PipeBefore => "pipe_before",
            Self::PipeAfter => "pipe_after",
            Self::HeatBefore => "heat_before",
            Self::HeatAfter => "heat_after",
            Self::Welder => "welder",
            Self::WeldDate => "weld_date",
            Self::CoatingSystem => "coating_system",
        }
    }

    const fn may_be_absent(self) -> bool {
        matches!(self, Self::CoatingSystem)
    }

    /// Reads a name in any case, with blanks round it or for its underscores.
    fn parse(text: &str) -> Option<Self> {
        let words: Vec<&str> =
            text.split(|c: char| c.is_whitespace() || c == '_').filter(|w| !w.is_empty()).collect();
        let name = words.join("_").to_lowercase();
        Self::ALL.into_iter().find(|column| column.name() == name)
    }
}

/// Which column stands at which place of a line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Header {
    pub(super) columns: Vec<Column>,
}

impl Header {
    /// The columns that a register must have, in the order they are usually written.
    pub fn required() -> Vec<&'static str> {
        Column::ALL.iter().filter(|it| !it.may_be_absent()).map(|it| it.name()).collect()
    }

    /// Reads the header line, or names every column that is unknown, doubled or missing.
    pub fn read(record: &StringRecord) -> Result<Self, Vec<RowError>> {
        let mut columns = Vec::new();
        let mut faults = Vec::new();
        for text in record {
            // Spreadsheets put a byte order mark before the first name.
            let text = text.trim_start_matches('\u{feff}').trim();
            match Column::parse(text) {
                Some(column) if columns.contains(&column) => {
                    let detail = format!("`{}` is there already; keep one", column.name());
                    faults.push(RowError::new(1, column.name(), "DUPLICATE_COLUMN", detail));
                }
                Some(column) => columns.push(column),
                None => {
                    let detail = format!("`{text}` is no column here; known: {}", known());
                    faults.push(RowError::new(1, text, "UNKNOWN_COLUMN", detail));
                }
            }
        }
        let missing =
            Column::ALL.into_iter().filter(|it| !it.may_be_absent() && !columns.contains(it));
        faults.extend(missing.map(|column| {
            let cells = if column.value_required() {
                "every joint needs it"
            } else {
                "its cells may be empty"
            };
            let detail = format!("the column `{}` is missing; {cells}", column.name());
            RowError::new(1, column.name(), "MISSING_COLUMN", detail)
        }));
        if faults.is_empty() { Ok(Self { columns }) } else { Err(faults) }
    }
}

impl Column {
    /// Whether a joint cannot be without it.
    pub(super) const fn value_required(self) -> bool {
        matches!(self, Self::JointNumber | Self::Kp | Self::Section | Self::Kind)
    }
}

fn known() -> String {
    Column::ALL.map(Column::name).join(", ")
}
