//! What a count found, against the book.

use rust_decimal::Decimal;

/// Share of the book that a count may be off without anybody else looking at it: 2 % (common
/// practice, no source).
const SHARE: (i64, u32) = (2, 2);

/// Least difference that somebody else has to look at is more than this, base units (common
/// practice, no source).
const LEAST: Decimal = Decimal::ONE;

/// One line of a count.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CountedLine {
    /// Code of the lot.
    pub lot: String,
    /// What was found.
    pub counted: Decimal,
    /// What the book said at that moment.
    pub book: Decimal,
    /// What the book says now.
    pub now: Decimal,
}

/// What becomes of a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// The book is right.
    Matches,
    /// The book is put right at once.
    Adjust,
    /// Somebody else has to look at it.
    Wait,
}

/// The difference of a line and what becomes of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Variance {
    /// Counted less book.
    pub difference: Decimal,
    /// The largest difference that is put right at once.
    pub threshold: Decimal,
    /// What becomes of it.
    pub verdict: Verdict,
}

/// Judges a line: within 2 % of the book or one base unit, whichever is more, it is put right at
/// once. One that would bring what has moved on since under zero waits.
pub fn variance(line: &CountedLine) -> Variance {
    let difference = line.counted - line.book;
    let share = line.book.abs() * Decimal::new(SHARE.0, SHARE.1);
    let threshold = share.max(LEAST).normalize();
    let verdict = if difference.is_zero() {
        Verdict::Matches
    } else if difference.abs() <= threshold && line.now + difference >= Decimal::ZERO {
        Verdict::Adjust
    } else {
        Verdict::Wait
    };
    Variance { difference, threshold, verdict }
}
