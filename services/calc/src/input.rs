//! What is wrong with an input: every fault at once, each at its field.

use std::fmt;

/// The values that an input field may have.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounds {
    /// Least value.
    pub low: f64,
    /// Greatest value.
    pub high: f64,
    /// Unit; empty for a plain number.
    pub unit: &'static str,
}

impl Bounds {
    /// From `low` to `high`, both included.
    pub const fn new(low: f64, high: f64, unit: &'static str) -> Self {
        Self { low, high, unit }
    }

    /// Whether `value` is a number inside.
    pub fn hold(&self, value: f64) -> bool {
        // NaN is in no range, so it is refused here as well.
        (self.low..=self.high).contains(&value)
    }
}

impl fmt::Display for Bounds {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "from {} to {}", self.low, self.high)?;
        if self.unit.is_empty() { Ok(()) } else { write!(f, " {}", self.unit) }
    }
}

/// What can be wrong.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum FaultKind {
    /// Outside its bounds.
    #[error("{value} is out of range: it must be {bounds}")]
    OutOfRange {
        /// What was given.
        value: f64,
        /// What may be given.
        bounds: Bounds,
    },
    /// The tape is wider than the band it is wrapped on.
    #[error(
        "the tape is {width_mm} mm wide and the wrapped length is {wrapped_length_mm} mm: the \
         length must be at least the width, or the tape must be cut"
    )]
    TapeWiderThanBand {
        /// Width of the tape, mm.
        width_mm: f64,
        /// Wrapped length, mm.
        wrapped_length_mm: f64,
    },
    /// A new roll gives nothing.
    #[error(
        "the splice lap is {splice_lap_mm} mm and the roll {roll_length_mm} mm long: the lap must \
         be shorter than the roll"
    )]
    SpliceLapTakesTheRoll {
        /// Splice lap, mm.
        splice_lap_mm: f64,
        /// Length of the roll, mm.
        roll_length_mm: f64,
    },
    /// A number of rolls, joints or turns beyond counting.
    #[error("the number of {what} would be over 10^15, which means nothing on a pipe")]
    Uncountable {
        /// What is counted.
        what: &'static str,
    },
    /// A list without entries.
    #[error("must have at least one entry")]
    Empty,
    /// Not allowed; the text says what is.
    #[error("{0}")]
    NotAllowed(String),
    /// Two things that cannot both hold.
    #[error("{0}")]
    Inconsistent(&'static str),
}

impl FaultKind {
    /// A stable code.
    pub const fn code(&self) -> &'static str {
        match self {
            Self::OutOfRange { .. } | Self::NotAllowed(_) => "OUT_OF_RANGE",
            Self::TapeWiderThanBand { .. } => "TAPE_WIDER_THAN_BAND",
            Self::SpliceLapTakesTheRoll { .. } => "SPLICE_LAP_TAKES_THE_ROLL",
            Self::Uncountable { .. } => "UNCOUNTABLE",
            Self::Empty => "EMPTY",
            Self::Inconsistent(_) => "INCONSISTENT",
        }
    }
}

/// One fault at one field.
#[derive(Debug, Clone, PartialEq)]
pub struct Fault {
    /// The field, such as `roll_width_mm` or `layers/0/roll_width_mm`.
    pub field: String,
    /// What is wrong; its text says the allowed range.
    pub kind: FaultKind,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.field, self.kind)
    }
}

/// An input that gives no answer, with every fault found.
#[derive(Debug, Clone, PartialEq)]
pub struct InputError {
    /// At least one.
    pub faults: Vec<Fault>,
}

impl fmt::Display for InputError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let texts: Vec<_> = self.faults.iter().map(ToString::to_string).collect();
        f.write_str(&texts.join("; "))
    }
}

impl std::error::Error for InputError {}

impl InputError {
    /// A single fault.
    pub(crate) fn one(field: &str, kind: FaultKind) -> Self {
        Self { faults: vec![Fault { field: field.to_owned(), kind }] }
    }

    /// A single field that is not allowed as it is; `detail` says what is.
    pub(crate) fn refused(field: &str, detail: impl Into<String>) -> Self {
        Self::one(field, FaultKind::NotAllowed(detail.into()))
    }

    /// The same faults, one level deeper.
    pub(crate) fn under(mut self, prefix: &str) -> Self {
        for fault in &mut self.faults {
            fault.field = format!("{prefix}/{}", fault.field);
        }
        self
    }
}

/// Collects faults while an input is looked over.
#[derive(Debug, Default)]
pub(crate) struct Faults(Vec<Fault>);

impl Faults {
    /// Notes `value` if it is outside `bounds`.
    pub(crate) fn range(&mut self, field: &str, value: f64, bounds: Bounds) {
        if !bounds.hold(value) {
            self.add(field, FaultKind::OutOfRange { value, bounds });
        }
    }

    pub(crate) fn add(&mut self, field: &str, kind: FaultKind) {
        self.0.push(Fault { field: field.to_owned(), kind });
    }

    /// Notes a field that is not allowed as it is; `detail` says what is.
    pub(crate) fn refuse(&mut self, field: &str, detail: impl Into<String>) {
        self.add(field, FaultKind::NotAllowed(detail.into()));
    }

    /// NaN and infinity hold against no range, so they are refused here as well.
    pub(crate) fn unless(&mut self, holds: bool, field: &str, value: f64, allowed: &str) {
        if !(holds && value.is_finite()) {
            self.refuse(field, format!("{value} is not allowed: it must be {allowed}"));
        }
    }

    pub(crate) fn at_least_zero(&mut self, field: &str, value: f64) {
        self.unless(value >= 0.0, field, value, "0 or more, and finite");
    }

    /// The same for each of a list; `field` names the element at an index.
    pub(crate) fn each_at_least_zero(
        &mut self,
        values: impl IntoIterator<Item = f64>,
        field: impl Fn(usize) -> String,
    ) {
        for (index, value) in values.into_iter().enumerate() {
            if !(value >= 0.0 && value.is_finite()) {
                self.at_least_zero(&field(index), value);
            }
        }
    }

    /// Notes a list whose finite values have a sum beyond all numbers; the others are noted by
    /// themselves. Whether they add up.
    pub(crate) fn finite_sum(
        &mut self,
        field: &str,
        values: impl IntoIterator<Item = f64>,
    ) -> bool {
        let finite = values.into_iter().filter(|value| value.is_finite());
        let adds_up = finite.sum::<f64>().is_finite();
        if !adds_up {
            self.refuse(field, "the values are too large to add up: their sum must be finite");
        }
        adds_up
    }

    pub(crate) fn over_zero(&mut self, field: &str, value: f64) {
        self.unless(value > 0.0, field, value, "over 0, and finite");
    }

    /// A share of certainty in percent, neither nothing nor everything.
    pub(crate) fn open_percent(&mut self, field: &str, value: f64) {
        self.unless(value > 0.0 && value < 100.0, field, value, "over 0 and under 100 %");
    }

    /// Takes over the faults of a part.
    pub(crate) fn absorb<T>(&mut self, prefix: &str, result: Result<T, InputError>) -> Option<T> {
        match result {
            Ok(value) => Some(value),
            Err(error) => {
                self.0.extend(error.under(prefix).faults);
                None
            }
        }
    }

    /// The value that was made while looking; none only where a fault was noted.
    pub(crate) fn finish<T>(self, value: Option<T>) -> Result<T, InputError> {
        match value {
            Some(value) if self.0.is_empty() => Ok(value),
            _ => Err(InputError { faults: self.0 }),
        }
    }

    pub(crate) fn check(self) -> Result<(), InputError> {
        if self.0.is_empty() { Ok(()) } else { Err(InputError { faults: self.0 }) }
    }
}
