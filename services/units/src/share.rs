//! Shares: the overlap of a tape, and a plain percentage.

use crate::quantity::{UnitError, within};

/// The overlap of a spiral wrap: the covered part of the tape's width.
///
/// The same fraction whether it is measured square to the tape or along the pipe, as long as the
/// width is measured in the same direction (derived by hand: the helix angle cancels).
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Overlap {
    percent: f64,
}

impl Overlap {
    /// From 0 to under 100 %.
    pub fn from_percent(value: f64) -> Result<Self, UnitError> {
        // NaN is in no range, so it is refused here as well.
        if (0.0..100.0).contains(&value) {
            Ok(Self { percent: value })
        } else {
            let unit = "%, 100 excluded";
            Err(UnitError { what: "overlap", value, low: 0.0, high: 100.0, unit })
        }
    }

    /// In % of the tape's width.
    pub const fn as_percent(self) -> f64 {
        self.percent
    }

    /// As a fraction of the tape's width, 0 to under 1.
    pub fn as_fraction(self) -> f64 {
        self.percent / 100.0
    }

    /// The part of the tape's width by which a turn advances, over 0 up to 1.
    pub fn advance_fraction(self) -> f64 {
        1.0 - self.as_fraction()
    }
}

/// A percentage that is added or taken: waste, loss, stretch.
#[derive(Debug, Clone, Copy, Default, PartialEq, PartialOrd)]
pub struct Percent {
    percent: f64,
}

impl Percent {
    /// Nothing.
    pub const ZERO: Self = Self { percent: 0.0 };

    /// From 0 to 1000 %.
    pub fn from_percent(value: f64) -> Result<Self, UnitError> {
        within("percentage", "%", value, 0.0, 1000.0).map(|percent| Self { percent })
    }

    /// In %.
    pub const fn as_percent(self) -> f64 {
        self.percent
    }

    /// As a fraction.
    pub fn as_fraction(self) -> f64 {
        self.percent / 100.0
    }

    /// `quantity` and this share of it on top.
    pub fn on_top_of(self, quantity: f64) -> f64 {
        quantity * (1.0 + self.as_fraction())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tape_never_covers_itself_wholly() {
        let error = Overlap::from_percent(100.0).unwrap_err().to_string();
        assert_eq!(error, "100 is no overlap: it must be from 0 to 100 %, 100 excluded");
        assert!(Overlap::from_percent(-0.1).is_err());
        assert!(Overlap::from_percent(f64::NAN).is_err());
        let closest = Overlap::from_percent(100.0_f64.next_down()).unwrap();
        assert!(closest.advance_fraction() > 0.0);
    }

    #[test]
    fn waste_comes_on_top() {
        // 5 % on 20 m is 21 m, not 20 / 0.95: the meaning fixed in this project.
        let found = Percent::from_percent(5.0).unwrap().on_top_of(20.0);
        assert!((found - 21.0).abs() < 1e-12);
    }
}
