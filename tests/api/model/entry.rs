//! What people write down, as the model knows it.

/// Who is signed in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Who {
    Inspector,
    Crew,
    Coordinator,
    Qa,
    WrappingQa,
}

/// Who put something on, as the entry names them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Applicator {
    Crew,
    WrappingQa,
    Novice,
    Unnamed,
}

/// What it was made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lots {
    Good,
    Expired,
    Unknown,
    Unnamed,
}

/// In what weather.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Weather {
    Dry,
    Wet,
    ReadLongBefore,
    NotRead,
}

/// How a piece of work was done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Work {
    pub applicator: Applicator,
    pub lots: Lots,
    pub weather: Weather,
}

impl Work {
    pub const GOOD: Self =
        Self { applicator: Applicator::Crew, lots: Lots::Good, weather: Weather::Dry };
}

/// A holiday test as it is written down.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Test {
    pub says_passed: bool,
    pub holidays: Option<u32>,
    pub volts: u32,
    pub calibrated: bool,
    pub slow_enough: bool,
    pub inspector: Option<bool>,
}

impl Test {
    pub const GOOD: Self = Self {
        says_passed: true,
        holidays: Some(0),
        volts: 15_000,
        calibrated: true,
        slow_enough: true,
        inspector: Some(true),
    };

    /// A pass with holidays counted is no pass.
    pub fn passed(self) -> bool {
        self.says_passed && self.holidays.unwrap_or(0) == 0
    }
}

/// What happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum What {
    Welded,
    WeldAccepted,
    WeldRejected,
    WeldRepaired,
    CutOut,
    Prepared { work: Work, clean: bool },
    Primed(Work),
    Profiled(Work),
    Inner { work: Work, overlap: bool },
    Outer(Work),
    Tested(Test),
    Lowered,
    Backfilled,
    Looked { passed: bool },
    Measured,
    Peeled { passed: bool, on_joint: bool },
    Damaged,
    Repaired { work: Work, of: Option<u32>, patch: bool, cleaned: bool },
    Excavated,
    Withdrawn,
}

/// One entry: what happened where and when, written down by whom, in place of which other one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Entry {
    pub number: u32,
    pub joint: usize,
    /// Minute of the first day at which it happened.
    pub at: i64,
    pub by: Who,
    /// Minute at which the server stored it.
    pub recorded: i64,
    pub what: What,
    pub supersedes: Option<u32>,
}

/// How an entry is sent that was sent before.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Change {
    Nothing,
    Note,
    Time,
}
