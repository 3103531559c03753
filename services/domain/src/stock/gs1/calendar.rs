//! Dates of six digits.
//!
//! Source: GS1 General Specifications 7.12, second-hand by the GS1 Barcode Syntax Dictionary and
//! by biip 5.2.0, which agree: a two-digit year 51 to 99 ahead of this one is of the century
//! before, one 50 to 99 behind is of the next, any other of this one. A day 00 is the last day of
//! its month.

use chrono::{Datelike, Months, NaiveDate};

/// The year whose last two digits are `two`, as of `today`.
fn year(two: i32, today: NaiveDate) -> i32 {
    let this = today.year().rem_euclid(100);
    let same_century = today.year() - this + two;
    match two - this {
        51.. => same_century - 100,
        ..=-50 => same_century + 100,
        _ => same_century,
    }
}

/// The day that `YYMMDD` names, or what is wrong with it.
pub(super) fn day(digits: &str, zero_is_last: bool, today: NaiveDate) -> Result<NaiveDate, String> {
    let pair = |from: usize| digits.get(from..from + 2).and_then(|it| it.parse::<u32>().ok());
    let (Some(two), Some(month), Some(day)) = (pair(0), pair(2), pair(4)) else {
        return Err("a date is YYMMDD, six digits".to_owned());
    };
    let year = year(i32::try_from(two).unwrap_or_default(), today);
    let Some(first) = NaiveDate::from_ymd_opt(year, month, 1) else {
        return Err(format!("there is no month {month:02}; a date is YYMMDD"));
    };
    let last = first + Months::new(1) - chrono::Days::new(1);
    if day == 0 && zero_is_last {
        return Ok(last);
    }
    NaiveDate::from_ymd_opt(year, month, day).ok_or_else(|| {
        let month = first.format("%B %Y");
        format!("there is no day {day:02} in {month}, which ends on {}", last.day())
    })
}
