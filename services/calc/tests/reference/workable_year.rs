//! The workable hours of the typical year, month by month.

use calc::{JudgedHour, Limits, OutlookHour, WorkableHoursRule, workable_hours};
use chrono::{DateTime, Datelike, FixedOffset, TimeDelta};
use units::{RelativeHumidity, Temperature};

use crate::{
    table::{Row, Table, repository_file},
    weather_year::YEAR,
};

/// Relative humidity and margin: from memory, unverified, and published (NACE RP0176-2003, 14.3.1);
/// the temperatures and the lag are common practice, no source. Any recorded rain stops the work.
fn rule() -> WorkableHoursRule {
    WorkableHoursRule {
        limits: Limits {
            steel_min_c: Some(5.0),
            steel_max_c: Some(60.0),
            air_min_c: Some(5.0),
            air_max_c: None,
            relative_humidity_max_percent: Some(85.0),
            dew_point_margin_c: Some(3.0),
        },
        rain_max_mm: Some(0.0),
        steel_lag_h: 2.0,
        steel_start: None,
    }
}

/// The months come from different years; they are put in a row in a year without a leap day.
fn outlook(rows: &[Row<'_>]) -> Vec<OutlookHour> {
    let start: DateTime<FixedOffset> = "2001-01-01T01:00:00-05:00".parse().unwrap();
    let hours = rows.iter().zip(0_i64..);
    hours
        .map(|(row, hour)| OutlookHour {
            at: start + TimeDelta::hours(hour),
            air: Temperature::from_celsius(row.number("dry_bulb_c")).unwrap(),
            relative_humidity: RelativeHumidity::from_percent(
                row.number("relative_humidity_percent"),
            )
            .unwrap(),
            rain_mm: Some(row.number("liquid_precipitation")),
        })
        .collect()
}

#[derive(Default)]
struct Month {
    hours: u64,
    workable: u64,
    daylight: u64,
    daylight_workable: u64,
    longest_window_h: usize,
}

/// A window belongs to the month it starts in.
fn months() -> Vec<Month> {
    let table = Table::read(YEAR);
    let rows: Vec<_> = table.rows().collect();
    let found = workable_hours(&outlook(&rows), &rule()).unwrap();
    let mut months: Vec<Month> = (0..12).map(|_| Month::default()).collect();
    for (row, JudgedHour { workable, .. }) in rows.iter().zip(&found.hours) {
        // The date of the file, where midnight is 24:00 of the day that ends.
        let month: usize = row.text("date")[..2].parse().unwrap();
        let month = &mut months[month - 1];
        let light = row.number("extraterrestrial_w_m2") > 0.0;
        month.hours += 1;
        month.workable += u64::from(*workable);
        month.daylight += u64::from(light);
        month.daylight_workable += u64::from(light && *workable);
    }
    for window in found.windows {
        let start = window.from - TimeDelta::hours(1);
        let month = &mut months[usize::try_from(start.month0()).unwrap()];
        month.longest_window_h = month.longest_window_h.max(window.hours);
    }
    months
}

/// Counted apart by `tests/reference/workable_year.py` with scipy's matrix exponential for the
/// steel and pvlib's dew point; the two dew points differ by less than the 0.05 K between the
/// least and the greatest count.
#[test]
fn every_month_has_the_hours_that_were_counted_apart() {
    let table = Table::read("tests/reference/tables/workable_year.csv");
    let months = months();
    assert_eq!(table.rows().count(), months.len());
    for (row, month) in table.rows().zip(&months) {
        assert_eq!(
            (month.hours, month.daylight),
            (row.count("hours"), row.count("daylight_hours"))
        );
        let all = row.count("least")..=row.count("greatest");
        assert!(all.contains(&month.workable), "{}: {}", row.text("month"), month.workable);
        let light = row.count("daylight_least")..=row.count("daylight_greatest");
        assert!(light.contains(&month.daylight_workable), "{}", row.text("month"));
    }
}

/// The table in the guide is this one.
#[test]
fn the_table_in_the_guide_is_up_to_date() {
    let names = [
        "January",
        "February",
        "March",
        "April",
        "May",
        "June",
        "July",
        "August",
        "September",
        "October",
        "November",
        "December",
    ];
    let mut text = String::from(
        "| month | hours | workable | share | daylight | workable in daylight | longest window |\n\
         | --- | ---: | ---: | ---: | ---: | ---: | ---: |\n",
    );
    let line = |name: &str, month: &Month| {
        let Month { hours, workable, daylight, daylight_workable, longest_window_h } = month;
        let share = (100 * workable + hours / 2) / hours;
        format!(
            "| {name} | {hours} | {workable} | {share} % | {daylight} | {daylight_workable} | \
             {longest_window_h} h |\n"
        )
    };
    let mut year = Month::default();
    for (name, month) in names.iter().zip(months()) {
        text.push_str(&line(name, &month));
        year.hours += month.hours;
        year.workable += month.workable;
        year.daylight += month.daylight;
        year.daylight_workable += month.daylight_workable;
        year.longest_window_h = year.longest_window_h.max(month.longest_window_h);
    }
    text.push_str(&line("year", &year));
    println!("{text}");
    let guide = repository_file("demo-data/weather/README.md");
    assert!(guide.contains(&text), "put this table into demo-data/weather/README.md:\n{text}");
}
