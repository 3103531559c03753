//! The kilometre point: distance along the line.

use std::{fmt, str::FromStr};

/// A text that is no kilometre point.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum KpError {
    /// A comma where a point belongs.
    #[error("`{0}` has a comma: write the decimals with a point, such as 12.345")]
    DecimalComma(String),
    /// Not readable.
    #[error("`{0}` is no kilometre point: write kilometres such as 12.345, or 12+345")]
    Unreadable(String),
    /// Too far.
    #[error("`{0}` is out of range: a kilometre point is from 0 to 20000 km")]
    OutOfRange(String),
}

/// A kilometre point, kept in whole millimetres so that it compares exactly.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Kp {
    millimetres: i64,
}

impl Kp {
    /// From 0 to 20 000 km.
    #[expect(clippy::cast_possible_truncation, reason = "the range is checked before")]
    pub fn from_metres(metres: f64) -> Result<Self, KpError> {
        if (0.0..=2e7).contains(&metres) {
            Ok(Self { millimetres: (metres * 1000.0).round() as i64 })
        } else {
            Err(KpError::OutOfRange(metres.to_string()))
        }
    }

    /// From 0 to 20 000 km.
    pub fn from_millimetres(millimetres: i64) -> Result<Self, KpError> {
        if (0..=20_000_000_000).contains(&millimetres) {
            Ok(Self { millimetres })
        } else {
            Err(KpError::OutOfRange(format!("{millimetres} mm")))
        }
    }

    /// Reads `12.3456` (kilometres), `12+345.6`, `KP 12+345.6`; a blank may stand for the plus,
    /// as it does in an address.
    pub fn parse(text: &str) -> Result<Self, KpError> {
        let plain = text.trim().trim_start_matches("KP").trim_start_matches("kp").trim();
        if plain.contains(',') {
            return Err(KpError::DecimalComma(text.to_owned()));
        }
        let unreadable = || KpError::Unreadable(text.to_owned());
        let number = |part: &str| {
            let digits =
                !part.is_empty() && part.chars().all(|it| it.is_ascii_digit() || it == '.');
            digits.then(|| part.parse::<f64>().ok()).flatten().ok_or_else(unreadable)
        };
        let metres = match plain.split_once(['+', ' ']) {
            Some((kilometres, metres)) => {
                let whole = kilometres.chars().all(|it| it.is_ascii_digit());
                let three = metres.split('.').next().is_some_and(|it| it.len() == 3);
                if !whole || !three {
                    return Err(unreadable());
                }
                number(kilometres)? * 1000.0 + number(metres)?
            }
            None => number(plain)? * 1000.0,
        };
        Self::from_metres(metres).map_err(|_| KpError::OutOfRange(text.to_owned()))
    }

    /// In mm.
    pub fn as_millimetres(self) -> i64 {
        self.millimetres
    }

    /// In m.
    #[expect(clippy::cast_precision_loss, reason = "at most 2e10 mm")]
    pub fn as_metres(self) -> f64 {
        self.millimetres as f64 / 1000.0
    }

    /// In km.
    pub fn as_kilometres(self) -> f64 {
        self.as_metres() / 1000.0
    }
}

impl FromStr for Kp {
    type Err = KpError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        Self::parse(text)
    }
}

impl fmt::Display for Kp {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (metres, rest) = (self.millimetres / 1000, self.millimetres % 1000);
        write!(f, "{}+{:03}", metres / 1000, metres % 1000)?;
        if rest != 0 {
            write!(f, ".{}", format!("{rest:03}").trim_end_matches('0'))?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn both_ways_of_writing_are_read() {
        // KP 12+345.6 = 12 345.6 m: common practice, no source.
        let kp = Kp::parse("KP 12+345.6").unwrap();
        assert!((kp.as_metres() - 12_345.6).abs() < 1e-9);
        assert_eq!(kp, Kp::parse("12.3456").unwrap());
        assert_eq!(kp, Kp::parse("12 345.6").unwrap());
        assert_eq!(kp.to_string(), "12+345.6");
    }

    #[test]
    fn what_is_no_kilometre_point_is_refused_with_a_hint() {
        assert!(matches!(Kp::parse("12,345"), Err(KpError::DecimalComma(_))));
        for text in ["", "12+34", "abc", "-1", "1e3", "12+345+6", "+", "NaN"] {
            assert!(matches!(Kp::parse(text), Err(KpError::Unreadable(_))), "{text}");
        }
        assert!(matches!(Kp::parse("20001"), Err(KpError::OutOfRange(_))));
    }

    proptest! {
        #[test]
        fn what_is_written_is_read_back(millimetres in 0i64..20_000_000_000) {
            let kp = Kp { millimetres };
            prop_assert_eq!(Kp::parse(&kp.to_string()).unwrap(), kp);
        }
    }
}
