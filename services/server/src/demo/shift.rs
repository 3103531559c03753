//! Moves the dates of the files, so that their last day is today or yesterday.

use chrono::{DateTime, Days, NaiveDate, SecondsFormat, TimeDelta, Utc};
use serde_json::Value;

const WEEK: [&str; 7] =
    ["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"];

/// By how many whole days everything is moved: hours of the day must stay, for people do not
/// wrap tape at midnight.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shift(i64);

impl Shift {
    /// Nothing is moved.
    pub const NONE: Self = Self(0);

    /// The furthest that leaves `last` not after `now`.
    pub fn between(last: DateTime<Utc>, now: DateTime<Utc>) -> Self {
        // Not `num_days`, which rounds towards zero.
        Self((now - last).num_seconds().div_euclid(TimeDelta::days(1).num_seconds()))
    }

    #[cfg(test)]
    pub const fn of_days(days: i64) -> Self {
        Self(days)
    }

    /// Moves every date and time in `value`.
    pub fn value(self, value: &mut Value) {
        match value {
            Value::String(text) => {
                if let Some(moved) = self.text(text) {
                    *text = moved;
                }
            }
            Value::Array(items) => items.iter_mut().for_each(|it| self.value(it)),
            Value::Object(fields) => fields.values_mut().for_each(|it| self.value(it)),
            Value::Null | Value::Bool(_) | Value::Number(_) => {}
        }
    }

    /// `text` moved, if it is a date or a time.
    pub fn text(self, text: &str) -> Option<String> {
        // Years of four digits: a date in another form is no date of these files.
        if !text.is_ascii() || text.len() < "2026-06-26".len() {
            return None;
        }
        if let Ok(day) = NaiveDate::parse_from_str(text, "%Y-%m-%d") {
            return self.day(day).map(|it| it.to_string());
        }
        let at = DateTime::parse_from_rfc3339(text).ok()?.with_timezone(&Utc);
        let moved = at.checked_add_signed(TimeDelta::days(self.0))?;
        Some(moved.to_rfc3339_opts(SecondsFormat::AutoSi, true))
    }

    /// Moves the weekdays of a working calendar with the dates: on the day on which nobody worked
    /// in the files, nobody works.
    pub fn weekdays(self, calendar: &mut Value) {
        let Some(days) = calendar.get_mut("weekdays").and_then(Value::as_array_mut) else { return };
        for day in days {
            let place = WEEK.iter().position(|name| day == name).unwrap_or(0);
            let by = usize::try_from(self.0.rem_euclid(7)).unwrap_or(0);
            *day = WEEK[(place + by) % 7].into();
        }
    }

    fn day(self, day: NaiveDate) -> Option<NaiveDate> {
        let days = Days::new(self.0.unsigned_abs());
        if self.0 < 0 { day.checked_sub_days(days) } else { day.checked_add_days(days) }
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    fn at(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    #[test]
    fn the_last_time_comes_close_to_now_and_never_after_it() {
        let last = at("2026-06-26T14:00:30Z");
        for (now, days) in [
            ("2026-06-26T14:00:30Z", 0),
            ("2026-06-27T14:00:29Z", 0),
            ("2026-06-27T14:00:30Z", 1),
            ("2026-06-26T14:00:29Z", -1),
            ("2026-06-25T14:00:29Z", -2),
        ] {
            assert_eq!(Shift::between(last, at(now)), Shift::of_days(days), "{now}");
        }
    }

    #[test]
    fn the_day_off_moves_with_the_dates() {
        let mut calendar = json!({ "weekdays": ["monday", "saturday"] });
        Shift::of_days(-2).weekdays(&mut calendar);
        assert_eq!(calendar, json!({ "weekdays": ["saturday", "thursday"] }));
    }

    #[test]
    fn dates_and_times_are_moved_and_nothing_else() {
        let mut value = json!({
            "at": "2026-06-26T14:00:30Z", "days": ["2026-12-31"], "code": "PB-2311",
            "certificate": "2026-06", "count": 20_260_626, "id": "019e2f72-4ee8-737b-82e7-8c8b680c2a62",
        });
        Shift::of_days(1).value(&mut value);
        assert_eq!(
            value,
            json!({
                "at": "2026-06-27T14:00:30Z", "days": ["2027-01-01"], "code": "PB-2311",
                "certificate": "2026-06", "count": 20_260_626, "id": "019e2f72-4ee8-737b-82e7-8c8b680c2a62",
            })
        );
    }
}
