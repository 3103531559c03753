//! Six weeks, counted in days from the first; every seventh day nobody works.

use chrono::{DateTime, NaiveDate, NaiveTime, TimeDelta, Utc};

/// The last day of the story.
pub const LAST: i64 = 41;

/// Work of the last day ends here for the story, minutes after midnight on site.
pub const LAST_MINUTE: i64 = 15 * 60 + 20;

/// The site is an hour ahead of UTC during the whole story.
const SITE_AHEAD_MIN: i64 = 60;

pub const ZONE: &str = "Europe/Lisbon";

const FIRST_DATE: NaiveDate = match NaiveDate::from_ymd_opt(2026, 5, 16) {
    Some(date) => date,
    None => NaiveDate::MIN,
};

pub fn date(day: i64) -> NaiveDate {
    FIRST_DATE + TimeDelta::days(day)
}

/// The instant `minute` minutes after midnight on site.
pub fn at(day: i64, minute: i64) -> DateTime<Utc> {
    date(day).and_time(NaiveTime::MIN).and_utc() + TimeDelta::minutes(minute - SITE_AHEAD_MIN)
}

pub const fn works(day: i64) -> bool {
    day % 7 != 1
}

/// The working day number `index`, if the story reaches it.
pub fn working_day(index: usize) -> Option<i64> {
    (0..=LAST).filter(|day| works(*day)).nth(index)
}

pub fn working_days() -> usize {
    (0..=LAST).filter(|day| works(*day)).count()
}

pub fn next_working_day(day: i64) -> Option<i64> {
    (day + 1..=LAST).find(|next| works(*next))
}

/// A test is only made when the joint can be covered on the day after it.
pub const fn tests(day: i64) -> bool {
    day >= 4 && works(day) && works(day + 1)
}

pub fn test_day(index: usize) -> Option<i64> {
    (0..=LAST).filter(|day| tests(*day)).nth(index)
}

pub fn next_test_day(day: i64) -> Option<i64> {
    (day + 1..=LAST).find(|next| tests(*next))
}
