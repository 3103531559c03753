//! Judges the coming days.

use calc::{Broken, InputError, OutlookHour, WorkableHoursRule};
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use units::{RelativeHumidity, Temperature, UnitError};

use super::{
    DayWindow, OutlookRef, OwnedBroken, OwnedLimit, SpreadSystemDays, Work, WorkableDay,
    WorkableHour,
    days::{day_span, working_span},
    limits::{RAIN, WIND, as_limits, bound},
};
use crate::{
    ambient::{Hour, judge::words, outlook::HOUR},
    setup::ProjectSetup,
};

/// What is foretold of a spread.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Foretold {
    /// The hours that are believed, in rising order.
    pub hours: Vec<Hour>,
    /// Steel at the first of them, °C; the air where it is none.
    pub steel_start_c: Option<f64>,
    /// The latest issue among the outlooks that they are from.
    pub outlook: Option<OutlookRef>,
}

/// The weather was not judged: a number of it is no quantity.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum JudgeError {
    /// A value has no physical meaning.
    #[error("the outlook has a value that cannot be")]
    Unit(#[from] UnitError),
    /// The hours or the rule cannot be calculated with.
    #[error("the outlook cannot be judged")]
    Input(#[from] InputError),
}

/// The days `from`..`to` of `work`, each by its hours: an hour belongs to the day it begins in, and
/// holds until the next one, one hour at most.
pub fn judge(
    setup: &ProjectSetup,
    work: &Work<'_>,
    limits: Vec<OwnedLimit>,
    foretold: &Foretold,
    days: impl Iterator<Item = NaiveDate>,
) -> Result<SpreadSystemDays, JudgeError> {
    let rule = WorkableHoursRule {
        limits: as_limits(&limits),
        rain_max_mm: bound(&limits, RAIN),
        steel_lag_h: work.steel_lag_h(setup),
        steel_start: foretold.steel_start_c.map(Temperature::from_celsius).transpose()?,
    };
    let outlook = foretold.hours.iter().map(read).collect::<Result<Vec<_>, _>>()?;
    let judged = calc::workable_hours(&outlook, &rule)?;
    let hours: Vec<WorkableHour> = foretold
        .hours
        .iter()
        .zip(judged.hours)
        .map(|(hour, judged)| told(hour, judged, &limits))
        .collect();
    let ends: Vec<DateTime<Utc>> = ends(&foretold.hours);
    let days = days.map(|on| {
        let (first, next) = day_span(setup.time_zone, on);
        let begin = hours.partition_point(|it| it.at < first);
        let end = hours.partition_point(|it| it.at < next);
        day(setup, work, on, &hours[begin..end], (&hours, &ends))
    });
    Ok(SpreadSystemDays {
        spread: work.spread.to_owned(),
        system: work.system.code.clone(),
        steel_lag_h: rule.steel_lag_h,
        steel_start_c: foretold.steel_start_c.filter(|_| !hours.is_empty()),
        outlook: foretold.outlook.clone(),
        days: days.collect(),
        limits,
    })
}

fn read(hour: &Hour) -> Result<OutlookHour, UnitError> {
    Ok(OutlookHour {
        at: hour.at.fixed_offset(),
        air: Temperature::from_celsius(hour.air_c)?,
        relative_humidity: RelativeHumidity::from_percent(hour.relative_humidity_percent)?,
        rain_mm: hour.rain_mm,
    })
}

fn told(hour: &Hour, judged: calc::JudgedHour, limits: &[OwnedLimit]) -> WorkableHour {
    let mut found = judged.broken;
    // The arithmetic knows no wind.
    let windy = hour.wind_m_s.zip(bound(limits, WIND)).filter(|(wind, most)| wind > most);
    found.extend(windy.map(|(value, bound)| Broken { limit: WIND, value, bound }));
    let owner = |limit: &str| {
        limits.iter().find(|it| it.limit == limit).map(|it| it.of.clone()).unwrap_or_default()
    };
    let why: Vec<String> = found
        .iter()
        .map(|it| {
            let (said, asked) = words(it);
            format!("{said}, {} asks for {asked}", owner(it.limit))
        })
        .collect();
    WorkableHour {
        at: hour.at,
        air_c: hour.air_c,
        relative_humidity_percent: hour.relative_humidity_percent,
        wind_m_s: hour.wind_m_s,
        rain_mm: hour.rain_mm,
        steel_c: judged.steel_c,
        dew_point_c: judged.dew_point_c,
        margin_c: judged.margin_c,
        workable: found.is_empty(),
        why: (!why.is_empty()).then(|| why.join("; ")),
        broken: found
            .into_iter()
            .map(|Broken { limit, value, bound }| OwnedBroken {
                limit,
                value,
                bound,
                of: owner(limit),
            })
            .collect(),
    }
}

/// Until when each hour holds.
fn ends(hours: &[Hour]) -> Vec<DateTime<Utc>> {
    let next = hours.iter().skip(1).map(|it| Some(it.at)).chain([None]);
    hours
        .iter()
        .zip(next)
        .map(|(hour, next)| next.map_or(hour.at + HOUR, |next| next.min(hour.at + HOUR)))
        .collect()
}

fn day(
    setup: &ProjectSetup,
    work: &Work<'_>,
    on: NaiveDate,
    own: &[WorkableHour],
    (all, ends): (&[WorkableHour], &[DateTime<Utc>]),
) -> WorkableDay {
    let (from, to) = working_span(setup.time_zone, &setup.calendar, on);
    let working = (to - from).max(TimeDelta::zero());
    // An hour before the day may reach into its work.
    let begin = all.partition_point(|it| it.at + HOUR <= from);
    let end = all.partition_point(|it| it.at < to);
    let (mut workable, mut known) = (TimeDelta::zero(), TimeDelta::zero());
    for (hour, ends) in all[begin..end].iter().zip(&ends[begin..end]) {
        let part = ((*ends).min(to) - hour.at.max(from)).max(TimeDelta::zero());
        known += part;
        if hour.workable {
            workable += part;
        }
    }
    let working_day = setup.calendar.is_working(on);
    let working_hours = hours(working);
    let share = if working_hours > 0.0 { hours(workable) / working_hours } else { 0.0 };
    let planned = work.planned_joints(setup, on);
    WorkableDay {
        on,
        working_day,
        workable_hours: hours(workable),
        working_hours,
        untold_hours: hours(working - known),
        share,
        expected_joints: planned.map(|joints| if working_day { joints * share } else { 0.0 }),
        windows: windows(own),
        hours: own.to_vec(),
    }
}

/// As `calc::workable_hours` has them, within one day.
fn windows(hours: &[WorkableHour]) -> Vec<DayWindow> {
    let mut windows: Vec<DayWindow> = Vec::new();
    let mut open = false;
    for hour in hours {
        if hour.workable {
            let to = hour.at + HOUR;
            match windows.last_mut().filter(|window| open && hour.at <= window.to) {
                Some(window) => {
                    window.to = to;
                    window.hours += 1;
                }
                None => windows.push(DayWindow { from: hour.at, to, hours: 1 }),
            }
        }
        open = hour.workable;
    }
    windows
}

/// To the second.
#[expect(clippy::cast_precision_loss, reason = "a day is far shorter than 2^53 s")]
fn hours(of: TimeDelta) -> f64 {
    of.num_seconds() as f64 / 3600.0
}
