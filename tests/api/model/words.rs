//! An entry in trade words.

use std::fmt;

use super::entry::{Applicator, Lots, Test, Weather, What, Work};

impl fmt::Display for Work {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.applicator {
            Applicator::Crew => {}
            Applicator::WrappingQa => f.write_str(", put on by a QA manager")?,
            Applicator::Novice => f.write_str(", put on by a novice")?,
            Applicator::Unnamed => f.write_str(", no applicator named")?,
        }
        match self.lots {
            Lots::Good => {}
            Lots::Expired => f.write_str(", expired lot")?,
            Lots::Unknown => f.write_str(", unknown lot")?,
            Lots::Unnamed => f.write_str(", no lot named")?,
        }
        f.write_str(match self.weather {
            Weather::Dry => "",
            Weather::Wet => ", at 95 % humidity",
            Weather::ReadLongBefore => ", conditions read 241 min before",
            Weather::NotRead => ", conditions not read",
        })
    }
}

impl fmt::Display for Test {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let result = if self.says_passed { "passed" } else { "failed" };
        write!(f, "holiday test {result} at {:.3} kV", f64::from(self.volts) / 1_000.0)?;
        match self.holidays {
            Some(0) if self.says_passed => {}
            Some(count) => write!(f, ", {count} holidays")?,
            None => f.write_str(", holidays not counted")?,
        }
        if !self.calibrated {
            f.write_str(", detector out of calibration")?;
        }
        if !self.slow_enough {
            f.write_str(", travelled too fast")?;
        }
        f.write_str(match self.inspector {
            Some(true) => "",
            Some(false) => ", by somebody who is no inspector",
            None => ", no inspector named",
        })
    }
}

impl fmt::Display for What {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Welded => f.write_str("welded"),
            Self::WeldAccepted => f.write_str("weld accepted"),
            Self::WeldRejected => f.write_str("weld rejected"),
            Self::WeldRepaired => f.write_str("weld repaired"),
            Self::CutOut => f.write_str("weld cut out"),
            Self::Prepared { work, clean } => {
                write!(f, "steel prepared to {}{work}", if *clean { "St 3" } else { "St 2" })
            }
            Self::Primed(work) => write!(f, "primed{work}"),
            Self::Profiled(work) => write!(f, "profiled{work}"),
            Self::Inner { work, overlap } => {
                write!(
                    f,
                    "inner tape wrapped{work}{}",
                    if *overlap { "" } else { ", overlap 49.9 %" }
                )
            }
            Self::Outer(work) => write!(f, "outer tape wrapped{work}"),
            Self::Tested(test) => write!(f, "{test}"),
            Self::Lowered => f.write_str("lowered"),
            Self::Backfilled => f.write_str("backfilled"),
            Self::Looked { passed } => {
                write!(f, "visual inspection {}", if *passed { "passed" } else { "failed" })
            }
            Self::Measured => f.write_str("thickness measured"),
            Self::Peeled { passed, on_joint } => {
                let result = if *passed { "passed" } else { "failed" };
                write!(
                    f,
                    "peel test {result} on {}",
                    if *on_joint { "the joint" } else { "a coupon" }
                )
            }
            Self::Damaged => f.write_str("damage found"),
            Self::Repaired { work, of, patch, cleaned } => {
                let wrap = if *patch { "with a patch" } else { "all round" };
                write!(f, "repaired {wrap}{work}")?;
                if !cleaned {
                    f.write_str(", not cleaned")?;
                }
                of.map_or(Ok(()), |hole| write!(f, ", only the hole of entry {hole}"))
            }
            Self::Excavated => f.write_str("excavated"),
            Self::Withdrawn => f.write_str("an entry withdrawn"),
        }
    }
}
