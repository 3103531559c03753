//! Which days are worked.

use std::collections::BTreeSet;

use chrono::{Datelike, NaiveDate};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::item::{Item, Kind};
use crate::schema::{FieldError, Validate};

/// A day of the week.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Weekday {
    /// Monday.
    Monday,
    /// Tuesday.
    Tuesday,
    /// Wednesday.
    Wednesday,
    /// Thursday.
    Thursday,
    /// Friday.
    Friday,
    /// Saturday.
    Saturday,
    /// Sunday.
    Sunday,
}

impl From<chrono::Weekday> for Weekday {
    fn from(day: chrono::Weekday) -> Self {
        match day {
            chrono::Weekday::Mon => Self::Monday,
            chrono::Weekday::Tue => Self::Tuesday,
            chrono::Weekday::Wed => Self::Wednesday,
            chrono::Weekday::Thu => Self::Thursday,
            chrono::Weekday::Fri => Self::Friday,
            chrono::Weekday::Sat => Self::Saturday,
            chrono::Weekday::Sun => Self::Sunday,
        }
    }
}

/// A day that is not worked although its weekday is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DayOff {
    /// Which.
    pub on: NaiveDate,
    /// Why, such as the name of a holiday.
    #[schema(min_length = 1, max_length = 200)]
    pub name: String,
}

/// The working calendar of a project. There is one, and its code is `site`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WorkingCalendar {
    /// Weekdays that are worked.
    #[schema(min_items = 1, max_items = 7)]
    pub weekdays: Vec<Weekday>,
    /// Holidays and other days off.
    #[serde(default)]
    #[schema(max_items = 1000)]
    pub days_off: Vec<DayOff>,
    /// Days that are worked although their weekday is not.
    #[serde(default)]
    #[schema(max_items = 1000)]
    pub extra_days: Vec<NaiveDate>,
}

impl Default for WorkingCalendar {
    /// Monday to Saturday (common practice, no source).
    fn default() -> Self {
        use Weekday::{Friday, Monday, Saturday, Thursday, Tuesday, Wednesday};
        Self {
            weekdays: vec![Monday, Tuesday, Wednesday, Thursday, Friday, Saturday],
            days_off: Vec::new(),
            extra_days: Vec::new(),
        }
    }
}

impl WorkingCalendar {
    /// Whether `on` is worked. A day that is named both ways is off.
    pub fn is_working(&self, on: NaiveDate) -> bool {
        if self.days_off.iter().any(|off| off.on == on) {
            return false;
        }
        self.extra_days.contains(&on) || self.weekdays.contains(&on.weekday().into())
    }
}

impl Validate for WorkingCalendar {
    fn faults(&self) -> Vec<FieldError> {
        let mut seen = BTreeSet::new();
        let twice = self.extra_days.iter().enumerate().filter_map(|(index, on)| {
            let off = self.days_off.iter().find(|off| off.on == *on)?;
            let detail = format!("{on} is a day off already: {}", off.name);
            Some(FieldError::new(&format!("/extra_days/{index}"), "DUPLICATE", detail))
        });
        let days = self.days_off.iter().enumerate().filter(|(_, off)| !seen.insert(off.on));
        let again = days.map(|(index, off)| {
            let detail = format!("{} is in the list already", off.on);
            FieldError::new(&format!("/days_off/{index}/on"), "DUPLICATE", detail)
        });
        again.chain(twice).collect()
    }
}

impl Item for WorkingCalendar {
    const KIND: Kind = Kind::WorkingCalendar;

    fn code(&self) -> &'static str {
        "site"
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_off_come_before_extra_days_and_weekdays() {
        let on = |day| NaiveDate::from_ymd_opt(2026, 6, day).unwrap();
        let calendar = WorkingCalendar {
            days_off: vec![DayOff { on: on(3), name: "Feast of the ferryman".to_owned() }],
            extra_days: vec![on(7)],
            ..WorkingCalendar::default()
        };
        // 1 June 2026 is a Monday.
        let worked: Vec<u32> = (1..=14).filter(|day| calendar.is_working(on(*day))).collect();
        assert_eq!(worked, [1, 2, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13]);
    }
}
