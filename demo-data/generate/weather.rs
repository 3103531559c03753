//! The weather of the six weeks: real days of a typical year, each whole, in an order of our own.
//!
//! Days on which the crews worked are days on which they could have; the wet morning and the days
//! off are not.

use std::sync::OnceLock;

use chrono::{DateTime, TimeDelta, Utc};
use domain::{
    ambient::{
        Hour as OutlookHour,
        workable::{Foretold, judge, limits, work},
    },
    joints::event::Ambient,
    outlook::WorkableShare,
    setup::ProjectSetup,
};
use serde_json::{Value, json};
use uuid::Builder;

use super::{
    calendar::{self, LAST},
    rng::{Rng, one_decimal},
    stock::Line,
};

pub const WET_DAY: i64 = 31;

/// Until when the wet morning lasts, minutes after midnight on site.
pub const WET_UNTIL: i64 = 10 * 60 + 15;

/// Month and day of the typical year for each day of the story and for the five after it, which
/// the outlook tells: a Saturday with few dry hours, a Sunday of rain, three good days. They are
/// such days in winter time as well, in which the hours of work lie an hour later.
const DAYS: [(u32, u32); 47] = [
    (4, 1),
    (4, 6),
    (4, 5),
    (4, 10),
    (4, 11),
    (4, 15),
    (4, 16),
    (4, 18),
    (4, 13),
    (4, 21),
    (4, 22),
    (4, 23),
    (4, 28),
    (5, 1),
    (5, 2),
    (4, 27),
    (5, 3),
    (5, 4),
    (5, 5),
    (5, 8),
    (5, 9),
    (5, 11),
    (5, 20),
    (5, 12),
    (5, 22),
    (5, 23),
    (5, 31),
    (6, 1),
    (6, 4),
    (6, 15),
    (6, 11),
    (1, 31),
    (6, 30),
    (7, 8),
    (7, 10),
    (7, 15),
    (5, 27),
    (7, 22),
    (7, 30),
    (8, 9),
    (8, 21),
    (8, 22),
    (6, 21),
    (5, 13),
    (3, 23),
    (10, 12),
    (11, 7),
];

/// So far the outlook goes.
const OUTLOOK_TO: i64 = LAST + 5;

/// An hour of the typical year.
#[derive(Clone, Copy)]
struct Hour {
    air_c: f64,
    relative_humidity_percent: f64,
    rain: bool,
}

/// The hours 1 to 24 of each day of the story.
fn year() -> &'static Vec<[Hour; 24]> {
    static YEAR: OnceLock<Vec<[Hour; 24]>> = OnceLock::new();
    YEAR.get_or_init(|| DAYS.iter().map(|day| read_day(*day)).collect())
}

fn read_day((month, day): (u32, u32)) -> [Hour; 24] {
    let text = include_str!("../weather/greensboro_typical_year.csv");
    let date = format!("{month:02}/{day:02}/");
    let mut hours = [Hour { air_c: 0.0, relative_humidity_percent: 0.0, rain: false }; 24];
    let lines = text.lines().filter(|line| line.starts_with(&date));
    for (hour, line) in hours.iter_mut().zip(lines) {
        let field = |place: usize| {
            line.split(',').nth(place).and_then(|it| it.parse().ok()).unwrap_or(f64::NAN)
        };
        *hour = Hour { air_c: field(3), relative_humidity_percent: field(5), rain: field(6) > 0.0 };
    }
    hours
}

/// The hour `hour` of `day`, 0 to 24; the first is the last of the day before.
fn hour(day: i64, hour: i64) -> Hour {
    let (day, hour) = if hour == 0 { (day - 1, 24) } else { (day, hour) };
    let days = year();
    let of_day = usize::try_from(day).ok().and_then(|day| days.get(day)).unwrap_or(&days[0]);
    of_day[usize::try_from(hour - 1).unwrap_or(0).min(23)]
}

/// What a crew reads at a joint: the weather of the minute, a little of its own, and steel in the
/// sun.
pub fn ambient(day: i64, minute: i64, rng: &mut Rng) -> Ambient {
    let (before, after) = (hour(day, minute / 60), hour(day, minute / 60 + 1));
    let part = f64::from(i32::try_from(minute % 60).unwrap_or(0)) / 60.0;
    let between = |from: f64, to: f64| from + (to - from) * part;
    let air = between(before.air_c, after.air_c) + rng.between(-0.3, 0.3);
    let humidity = between(before.relative_humidity_percent, after.relative_humidity_percent);
    let wet = day == WET_DAY && minute < WET_UNTIL;
    let steel = if wet { air - 0.4 } else { air + rng.between(0.6, 2.6) };
    Ambient {
        air_c: one_decimal(air),
        relative_humidity_percent: one_decimal((humidity + rng.between(-1.0, 1.0)).min(100.0)),
        steel_c: one_decimal(steel),
        measured_at: None,
    }
}

/// When a crew can start, minutes after midnight on site.
pub const fn dry_from(day: i64) -> i64 {
    if day == WET_DAY { WET_UNTIL + 20 } else { calendar_start() }
}

const fn calendar_start() -> i64 {
    7 * 60 + 10
}

const _: () = assert!(calendar::works(WET_DAY));

/// The masts of the spreads, read every second hour of the day.
const MASTS: [(&str, &str); 2] = [("A", "MAST-A"), ("B", "MAST-B")];

/// Where a thermometer hangs, and by how much it is warmer inside.
const STORES: [(&str, f64); 3] = [("YARD", 1.5), ("BOX-A", 4.0), ("BOX-B", 6.0)];

/// What was read, what was foretold, and when it was sent.
pub fn lines() -> Vec<Line> {
    let mut lines: Vec<Line> = Vec::new();
    for day in 0..=LAST {
        for hour in [7, 9, 11, 13, 15, 17, 19] {
            if day == LAST && hour * 60 > calendar::LAST_MINUTE {
                break;
            }
            lines.push(masts(day, hour));
        }
        lines.push(stores(day));
    }
    for (hour, warmer) in [(5, 1.5), (12, 0.0)] {
        lines.extend(MASTS.map(|(spread, _)| outlook(spread, hour, warmer)));
    }
    lines.sort_by_key(|line| line.at);
    lines
}

fn id(at: DateTime<Utc>, parts: &[u64]) -> uuid::Uuid {
    let millis = u64::try_from(at.timestamp_millis()).unwrap_or(0);
    Builder::from_unix_timestamp_millis(millis, &Rng::of(parts).bytes()).into_uuid()
}

fn masts(day: i64, of_day: i64) -> Line {
    let at = calendar::at(day, of_day * 60);
    let told = hour(day, of_day);
    let readings = (0_u64..).zip(MASTS).map(|(place, (spread, station))| {
        let parts = [41, place, u64::try_from(day * 24 + of_day).unwrap_or(0)];
        json!({
            "id": id(at, &parts),
            "spread": spread,
            "station": station,
            "read_at": at,
            "air_c": told.air_c,
            "relative_humidity_percent": told.relative_humidity_percent,
            "steel_c": one_decimal(told.air_c + if told.rain { -0.2 } else { 1.0 }),
            "rain_mm": if told.rain { 1.0 } else { 0.0 },
        })
    });
    let body = json!({ "readings": readings.collect::<Vec<Value>>() });
    Line { at: at + TimeDelta::minutes(1), to: "reading-batches", body }
}

fn stores(day: i64) -> Line {
    let at = calendar::at(day, 15 * 60);
    let outside = hour(day, 15).air_c;
    let readings = (0_u64..).zip(STORES).map(|(place, (location, warmer))| {
        let parts = [42, place, u64::try_from(day).unwrap_or(0)];
        // On the last day the store of the yard stood shut in the sun.
        let inside = if day == LAST && location == "YARD" { 41.5 } else { outside + warmer };
        json!({
            "id": id(at, &parts),
            "location": location,
            "station": "T-1",
            "read_at": at,
            "air_c": one_decimal(inside),
        })
    });
    let body = json!({ "readings": readings.collect::<Vec<Value>>() });
    Line { at: at + TimeDelta::minutes(2), to: "reading-batches", body }
}

/// The outlook of the last day; the one of the morning is a little too warm.
fn outlook(spread: &str, at_hour: i64, warmer: f64) -> Line {
    let at = calendar::at(LAST, at_hour * 60);
    let parts = [43, u64::try_from(at_hour).unwrap_or(0), u64::from(spread.as_bytes()[0])];
    let days = (LAST..=OUTLOOK_TO).flat_map(|day| (1..=24).map(move |hour| (day, hour)));
    let hours = days.filter(|(day, hour)| (*day, *hour) >= (LAST, at_hour)).map(|(day, of_day)| {
        let told = hour(day, of_day);
        json!({
            "at": calendar::at(day, of_day * 60),
            "air_c": one_decimal(told.air_c + warmer),
            "relative_humidity_percent": told.relative_humidity_percent,
            "rain_mm": if told.rain { 1.0 } else { 0.0 },
        })
    });
    let body = json!({
        "id": id(at, &parts),
        "spread": spread,
        "issued_at": at,
        "source": "weather office of the district",
        "hours": hours.collect::<Vec<Value>>(),
    });
    Line { at: at + TimeDelta::minutes(3), to: "outlooks", body }
}

/// What the outlook leaves of the days after the story.
pub fn workable(setup: &ProjectSetup) -> anyhow::Result<Vec<WorkableShare>> {
    let mut shares = Vec::new();
    for work in work(setup) {
        let line = outlook(if work.spread == "A" { "A" } else { "B" }, 12, 0.0);
        let hours: Vec<OutlookHour> = serde_json::from_value(line.body["hours"].clone())?;
        let foretold = Foretold { hours, ..Foretold::default() };
        let days = (LAST + 1..=OUTLOOK_TO).map(calendar::date);
        let judged = judge(setup, &work, limits(&work, setup), &foretold, days)?;
        shares.extend(judged.shares());
    }
    Ok(shares)
}
