//! What of the weather somebody must see now.

use std::collections::BTreeSet;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use serde_json::json;

use super::{LimitBroken, Rules, StationReading, judge, workable::SpreadSystemDays};
use crate::{
    condition::{Condition, Urgency},
    joints::gates::time,
    setup::{Assignment, ProjectSetup},
};

/// A crew that recorded work so short a time ago is at work (common practice, no source).
const AT_WORK: TimeDelta = TimeDelta::hours(2);

/// A reading in a store speaks so long: it is read once a day, at about the same hour (common
/// practice, no source).
const STORE_READING_VALID: TimeDelta = TimeDelta::hours(26);

/// Work of today on the joints of one section with one coating system.
#[derive(Debug, Clone, PartialEq)]
pub struct WorkToday {
    /// Code of the section.
    pub section: String,
    /// Code of the coating system where it is not the section's own.
    pub coating_system: Option<String>,
    /// The newest work.
    pub last_at: DateTime<Utc>,
    /// When the conditions were read last at one of the joints.
    pub read_at: Option<DateTime<Utc>>,
}

/// A spread at a moment.
#[derive(Debug, Clone, PartialEq)]
pub struct SpreadNow {
    /// Code of the spread.
    pub spread: String,
    /// Its newest reading.
    pub newest: Option<StationReading>,
    /// What was worked on today.
    pub work: Vec<WorkToday>,
}

/// A place that holds stock at a moment.
#[derive(Debug, Clone, PartialEq)]
pub struct StoreNow {
    /// Code of the location.
    pub location: String,
    /// Its newest reading.
    pub newest: Option<StationReading>,
    /// Codes of the lots that lie there.
    pub lots: Vec<String>,
}

/// Every kind of condition of [`of_spread`], [`of_store`] and [`of_day`].
pub const WEATHER_KINDS: [&str; 4] = [
    "conditions_out_of_limits",
    "no_ambient_reading",
    "storage_out_of_limits",
    "few_workable_hours",
];

/// The newest reading of a spread against the limits of what is in work there, and whether anybody
/// reads at all.
pub fn of_spread(it: &SpreadNow, setup: &ProjectSetup, now: DateTime<Utc>) -> Vec<Condition> {
    let assigned = |work: &WorkToday| setup.assigned(&work.section, work.coating_system.as_ref());
    let works: Vec<Assignment<'_>> = it.work.iter().filter_map(assigned).collect();
    let Some(age) = works.iter().map(|it| it.plan.ambient_valid_min).min() else {
        return Vec::new();
    };
    let age = TimeDelta::minutes(age);
    let fresh = it.newest.as_ref().filter(|reading| now - reading.read_at <= age);
    let at_work = it.work.iter().any(|work| now - work.last_at <= AT_WORK);
    let fresh = fresh.filter(|_| at_work);
    let out = fresh.and_then(|reading| out_of_limits(it, reading, &works, setup));
    out.into_iter().chain(nobody_reads(it, age, now, setup)).collect()
}

fn out_of_limits(
    it: &SpreadNow,
    reading: &StationReading,
    works: &[Assignment<'_>],
    setup: &ProjectSetup,
) -> Option<Condition> {
    let judged = works.iter().flat_map(|assigned| {
        let broken = judge(&reading.measured, &rules_of_system(*assigned, setup)).broken;
        broken.into_iter().map(|broken| (assigned.system.code.clone(), broken))
    });
    let judged: Vec<(String, LimitBroken)> = judged.collect();
    let told: BTreeSet<String> = judged.iter().map(|(_, broken)| broken.to_string()).collect();
    if told.is_empty() {
        return None;
    }
    let systems: BTreeSet<&String> = judged.iter().map(|(system, _)| system).collect();
    let broken = judged.iter().map(|(system, it)| {
        json!({"system": system, "limit": it.limit, "value": it.value, "bound": it.bound,
            "of": it.of})
    });
    let (spread, by) = (&it.spread, told_by(reading, setup));
    let told: Vec<String> = told.into_iter().collect();
    Some(Condition {
        kind: "conditions_out_of_limits",
        subject: spread.clone(),
        urgency: Urgency::Urgent,
        detail: format!("spread {spread}: {} ({by})", told.join("; ")),
        values: json!({"spread": spread, "systems": systems, "reading": reading.id,
            "read_at": reading.read_at, "broken": broken.collect::<Vec<_>>()}),
    })
}

/// The limits of the plan and of every material of the system.
pub fn rules_of_system<'a>(assigned: Assignment<'a>, setup: &'a ProjectSetup) -> Rules<'a> {
    let plan = assigned.plan;
    let layers = assigned.system.layers.iter();
    let materials = layers.filter_map(|layer| setup.materials.get(&layer.material));
    let own = materials.map(|material| (material.code.as_str(), &material.limits));
    Rules { limits: std::iter::once((plan.code.as_str(), &plan.limits)).chain(own).collect(), plan }
}

fn nobody_reads(
    it: &SpreadNow,
    age: TimeDelta,
    now: DateTime<Utc>,
    setup: &ProjectSetup,
) -> Option<Condition> {
    let last_work = it.work.iter().map(|work| work.last_at).max()?;
    if now - last_work > AT_WORK {
        return None;
    }
    let at_joints = it.work.iter().filter_map(|work| work.read_at);
    let newest = at_joints.chain(it.newest.iter().map(|reading| reading.read_at)).max();
    if newest.is_some_and(|newest| now - newest <= age) {
        return None;
    }
    let (spread, hours) = (&it.spread, time(age));
    let last = match newest {
        Some(at) => format!("last at {}", local(at, setup)),
        None => "nothing at all today".to_owned(),
    };
    Some(Condition {
        kind: "no_ambient_reading",
        subject: spread.clone(),
        urgency: Urgency::Notice,
        detail: format!(
            "crews of spread {spread} are at work, and the conditions were not read for {hours} \
             ({last})"
        ),
        values: json!({"spread": spread, "read_at": newest, "valid_min": age.num_minutes()}),
    })
}

/// The newest reading of a place against the storage temperatures of what lies there.
pub fn of_store(it: &StoreNow, setup: &ProjectSetup, now: DateTime<Utc>) -> Option<Condition> {
    let reading = it.newest.as_ref().filter(|it| now - it.read_at <= STORE_READING_VALID)?;
    let air = reading.measured.air.as_celsius();
    let lots = it.lots.iter().filter_map(|code| Some((code, setup.lots.get(code)?)));
    let (mut told, mut lots_told) = (BTreeSet::new(), BTreeSet::new());
    for (code, lot) in lots {
        let Some(material) = setup.materials.get(&lot.material) else { continue };
        let over = material.storage_max_c.filter(|most| air > *most);
        let under = material.storage_min_c.filter(|least| air < *least);
        let bound = over
            .map(|most| format!("at most {most} °C"))
            .or_else(|| under.map(|least| format!("at least {least} °C")));
        if let Some(bound) = bound {
            told.insert(format!("{} asks for {bound}", material.code));
            lots_told.insert(code.clone());
        }
    }
    if told.is_empty() {
        return None;
    }
    let (location, by) = (&it.location, told_by(reading, setup));
    let told: Vec<String> = told.into_iter().collect();
    let lots: Vec<&str> = lots_told.iter().map(String::as_str).collect();
    Some(Condition {
        kind: "storage_out_of_limits",
        subject: location.clone(),
        urgency: Urgency::Urgent,
        detail: format!(
            "{location} is at {air} °C, {} ({by}): lots {}",
            told.join("; "),
            lots.join(", ")
        ),
        values: json!({"location": location, "air_c": air, "reading": reading.id,
            "read_at": reading.read_at, "lots": lots}),
    })
}

/// The working day `on` of a spread and system, where it has fewer workable hours than the calendar
/// asks for, outlooks tell all of it, and joints are planned for it.
pub fn of_day(it: &SpreadSystemDays, setup: &ProjectSetup, on: NaiveDate) -> Option<Condition> {
    let day = it.days.iter().find(|day| day.on == on && day.working_day)?;
    let least = setup.calendar.workable_hours_min;
    if day.untold_hours > 0.0 || day.workable_hours >= least || day.expected_joints.is_none() {
        return None;
    }
    let (spread, system) = (&it.spread, &it.system);
    let hour = |at: DateTime<Utc>| at.with_timezone(&setup.time_zone).format("%H:%M").to_string();
    let windows = day.windows.iter().map(|it| format!("{} to {}", hour(it.from), hour(it.to)));
    let windows: Vec<String> = windows.collect();
    let when = if windows.is_empty() {
        String::new()
    } else {
        format!("; within the limits from {}", windows.join(", "))
    };
    let (hours, of) = (round(day.workable_hours), round(day.working_hours));
    Some(Condition {
        kind: "few_workable_hours",
        subject: format!("{spread} {system}"),
        urgency: Urgency::Notice,
        detail: format!(
            "{on}: spread {spread} can apply {system} in {hours} of {of} working hours, fewer than \
             {least}{when}"
        ),
        values: json!({"spread": spread, "system": system, "on": on,
            "workable_hours": day.workable_hours, "working_hours": day.working_hours,
            "expected_joints": day.expected_joints, "windows": day.windows,
            "outlook": it.outlook}),
    })
}

/// For people: a tenth of an hour is enough.
fn round(hours: f64) -> f64 {
    (hours * 10.0).round() / 10.0
}

fn told_by(reading: &StationReading, setup: &ProjectSetup) -> String {
    let at = local(reading.read_at, setup);
    match reading.station.as_str() {
        "" => format!("read at {at}"),
        station => format!("read by {station} at {at}"),
    }
}

fn local(at: DateTime<Utc>, setup: &ProjectSetup) -> String {
    at.with_timezone(&setup.time_zone).format("%Y-%m-%d %H:%M %:z").to_string()
}
