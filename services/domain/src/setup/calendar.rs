//! Which days are worked.

use std::collections::BTreeSet;

use chrono::{Datelike, NaiveDate, NaiveTime};
use serde::{Deserialize, Deserializer, Serialize, Serializer, de::Error as _};
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

/// A time of day on site, such as `07:00`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, ToSchema)]
#[schema(value_type = String, pattern = "^([01][0-9]|2[0-3]):[0-5][0-9]$")]
pub struct TimeOfDay(pub NaiveTime);

const FORM: &str = "%H:%M";

impl std::fmt::Display for TimeOfDay {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        self.0.format(FORM).fmt(f)
    }
}

impl Serialize for TimeOfDay {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for TimeOfDay {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        let wrong = |_| D::Error::custom(format!("`{text}` is no time of day such as 07:00"));
        NaiveTime::parse_from_str(&text, FORM).map(Self).map_err(wrong)
    }
}

/// The working calendar of a project. There is one, and its code is `site`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
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
    /// When the work of a day begins, on site; 07:00 if absent (common practice, no source).
    #[serde(default = "seven")]
    pub day_from: TimeOfDay,
    /// When it ends, later on the same day; 18:00 if absent (common practice, no source).
    #[serde(default = "eighteen")]
    pub day_to: TimeOfDay,
    /// Fewer workable hours in tomorrow's working day are warned of; 4 if absent (common practice,
    /// no source).
    #[serde(default = "four")]
    #[schema(minimum = 0, maximum = 24)]
    pub workable_hours_min: f64,
}

const fn hour(hour: u32) -> TimeOfDay {
    match NaiveTime::from_hms_opt(hour, 0, 0) {
        Some(time) => TimeOfDay(time),
        None => TimeOfDay(NaiveTime::MIN),
    }
}

const fn seven() -> TimeOfDay {
    hour(7)
}

const fn eighteen() -> TimeOfDay {
    hour(18)
}

const fn four() -> f64 {
    4.0
}

impl Default for WorkingCalendar {
    /// Monday to Saturday, 07:00 to 18:00 (common practice, no source).
    fn default() -> Self {
        use Weekday::{Friday, Monday, Saturday, Thursday, Tuesday, Wednesday};
        Self {
            weekdays: vec![Monday, Tuesday, Wednesday, Thursday, Friday, Saturday],
            days_off: Vec::new(),
            extra_days: Vec::new(),
            day_from: seven(),
            day_to: eighteen(),
            workable_hours_min: four(),
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
        let backward = (self.day_to <= self.day_from).then(|| {
            let detail = format!("must be later than day_from, which is {}", self.day_from);
            FieldError::new("/day_to", "OUT_OF_RANGE", detail)
        });
        again.chain(twice).chain(backward).collect()
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

    #[test]
    fn a_stored_calendar_reads_and_gets_the_usual_day() {
        let stored = serde_json::json!({ "weekdays": ["monday"] });
        let read: WorkingCalendar = serde_json::from_value(stored).unwrap();
        assert_eq!((read.day_from, read.day_to), (hour(7), hour(18)));
        let written = serde_json::to_value(&read).unwrap();
        assert_eq!((&written["day_from"], &written["day_to"]), (&"07:00".into(), &"18:00".into()));
    }

    #[test]
    fn a_day_ends_after_it_begins() {
        let check = |from: &str, to: &str| {
            let calendar =
                serde_json::json!({ "weekdays": ["monday"], "day_from": from, "day_to": to });
            let faults = crate::schema::read::<WorkingCalendar>(&calendar).err();
            faults.unwrap_or_default().into_iter().map(|it| it.pointer).collect::<Vec<_>>()
        };
        assert!(check("06:30", "19:45").is_empty());
        assert_eq!(check("07:00", "07:00"), ["#/day_to"]);
        assert_eq!(check("22:00", "06:00"), ["#/day_to"]);
        assert_eq!(check("7:00", "24:00"), ["#/day_from", "#/day_to"]);
    }
}
