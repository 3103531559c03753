//! Days of the site as instants: those of the change of the clock have 23 or 25 hours.

use chrono::{
    DateTime, Days, NaiveDate, NaiveDateTime, NaiveTime, Offset, TimeDelta, TimeZone, Utc,
};
use chrono_tz::Tz;

use crate::setup::WorkingCalendar;

/// The first instant of the day `on` and the first one after it.
pub fn day_span(zone: Tz, on: NaiveDate) -> (DateTime<Utc>, DateTime<Utc>) {
    let next = on.checked_add_days(Days::new(1)).unwrap_or(on);
    let midnight = |on: NaiveDate| first_at(zone, on.and_time(NaiveTime::MIN));
    (midnight(on), midnight(next))
}

/// From when to when is worked on a working day `on`.
pub fn working_span(
    zone: Tz,
    calendar: &WorkingCalendar,
    on: NaiveDate,
) -> (DateTime<Utc>, DateTime<Utc>) {
    let from = first_at(zone, on.and_time(calendar.day_from.0));
    let end = on.and_time(calendar.day_to.0);
    // An end that comes twice, as clocks are put back, is the second one: all of the day is worked.
    let to = zone.from_local_datetime(&end).latest().map(|at| at.to_utc());
    (from, to.unwrap_or_else(|| first_at(zone, end)))
}

/// The first instant at which the clocks on site show `local`. Where they jump over it, it is
/// counted on from before the jump, so that a midnight that is left out is the moment of the jump.
fn first_at(zone: Tz, local: NaiveDateTime) -> DateTime<Utc> {
    let shown = zone.from_local_datetime(&local).earliest().map(|at| at.to_utc());
    shown.unwrap_or_else(|| {
        let before = local.checked_sub_signed(TimeDelta::days(1)).unwrap_or(local);
        let offset = zone.offset_from_utc_datetime(&before).fix();
        local.checked_sub_offset(offset).unwrap_or(local).and_utc()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(zone: Tz, on: &str, from: &str, hours: i64) {
        let (start, end) = day_span(zone, on.parse().unwrap());
        assert_eq!(start.to_rfc3339(), format!("{from}:00+00:00"), "{zone} {on}");
        assert_eq!((end - start).num_minutes(), hours * 60, "{zone} {on}");
    }

    /// Published: Directive 2000/84/EC, articles 2 and 3: summer time from the last Sunday in March
    /// to the last Sunday in October, at 1:00 UTC. Beirut puts its clocks on at midnight, so the
    /// day begins at 1:00 (IANA time zone database, file `asia`, rule Lebanon).
    #[test]
    fn days_of_the_change_have_23_and_25_hours() {
        let vienna = chrono_tz::Europe::Vienna;
        check(vienna, "2027-03-28", "2027-03-27T23:00", 23);
        check(vienna, "2027-10-31", "2027-10-30T22:00", 25);
        check(vienna, "2028-02-29", "2028-02-28T23:00", 24);
        check(chrono_tz::Asia::Beirut, "2027-03-28", "2027-03-27T22:00", 23);
        check(chrono_tz::Asia::Kolkata, "2027-03-28", "2027-03-27T18:30", 24);
    }

    #[test]
    fn a_working_day_over_the_change_is_as_long_as_it_is() {
        let time = |hour, minute| {
            crate::setup::TimeOfDay(NaiveTime::from_hms_opt(hour, minute, 0).unwrap())
        };
        let vienna = chrono_tz::Europe::Vienna;
        let minutes = |from, to, on: &str| {
            let usual = WorkingCalendar::default();
            let calendar = WorkingCalendar { day_from: from, day_to: to, ..usual };
            let (from, to) = working_span(vienna, &calendar, on.parse().unwrap());
            (to - from).num_minutes()
        };
        let (from, to) = (time(7, 0), time(18, 0));
        for on in ["2027-03-28", "2027-10-31", "2028-02-29"] {
            assert_eq!(minutes(from, to, on), 660, "{on}");
        }
        // Over the change itself there is an hour less or more.
        assert_eq!(minutes(time(1, 0), time(9, 0), "2027-03-28"), 420);
        assert_eq!(minutes(time(1, 0), time(9, 0), "2027-10-31"), 540);
        assert_eq!(minutes(time(1, 0), time(2, 30), "2027-10-31"), 150);
    }
}
