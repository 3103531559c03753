//! The files of the demo, inside the program so that it runs anywhere.

use anyhow::Context;
use chrono::{DateTime, NaiveDate, Utc};
use domain::{access::Role, setup::Kind};
use serde::{Deserialize, de::DeserializeOwned};
use serde_json::Value;

use super::shift::Shift;

macro_rules! file {
    ($path:literal) => {
        include_str!(concat!("../../../../demo-data/", $path))
    };
}

/// The joint register, as written.
pub const REGISTER: &str = file!("joints.csv");

const PROJECT: &str = file!("project.json");
const USERS: &str = file!("users.json");
const STORY: &str = file!("story.json");
const FACTS: &str = file!("facts.ndjson");
const RELEASES: &str = file!("releases.ndjson");
const STOCK: &str = file!("stock.ndjson");
const WEATHER: &str = file!("weather.ndjson");

/// The project.
#[derive(Debug, Deserialize)]
pub struct ProjectFile {
    pub code: String,
    pub name: String,
    pub time_zone: String,
}

/// Somebody who signs in.
#[derive(Debug, Clone, Deserialize)]
pub struct UserFile {
    pub name: String,
    pub email: String,
    pub role: Role,
    /// Code of the person who signs in as this user.
    pub person: Option<String>,
}

/// Which joint shows what.
#[derive(Debug, Clone, Deserialize)]
pub struct StoryFile {
    pub first_day: NaiveDate,
    pub last_fact_at: DateTime<Utc>,
    pub untested_joint: String,
    pub damaged_joint: String,
}

/// A fact and the number of its joint.
#[derive(Debug, Clone)]
pub struct FactLine {
    pub joint: String,
    pub occurred_at: DateTime<Utc>,
    pub fact: Value,
}

/// Joints that were released together.
#[derive(Debug, Clone, Deserialize)]
pub struct ReleaseLine {
    pub at: DateTime<Utc>,
    pub joints: Vec<String>,
}

/// Something about the stock or the weather that somebody sends.
#[derive(Debug, Clone, Deserialize)]
pub struct SentLine {
    pub at: DateTime<Utc>,
    /// `deliveries`, `movements` or `counts`; of the weather `reading-batches` or `outlooks`.
    pub to: String,
    pub body: Value,
}

impl SentLine {
    /// Whether it is about the weather.
    pub fn is_weather(&self) -> bool {
        matches!(self.to.as_str(), "reading-batches" | "outlooks")
    }
}

/// The project.
pub fn project() -> anyhow::Result<ProjectFile> {
    serde_json::from_str(PROJECT).context("cannot read project.json")
}

/// The users.
pub fn users() -> anyhow::Result<Vec<UserFile>> {
    serde_json::from_str(USERS).context("cannot read users.json")
}

/// The story as it was written, or with its dates moved by `shift`.
pub fn story(shift: Shift) -> anyhow::Result<StoryFile> {
    let story = serde_json::from_str(STORY).context("cannot read story.json")?;
    moved(story, shift).context("cannot read story.json")
}

/// The items of `kind`, with their dates moved.
pub fn items(kind: Kind, shift: Shift) -> anyhow::Result<Vec<Value>> {
    let text = match kind {
        Kind::LinePipe => file!("setup/line_pipe.json"),
        Kind::Spread => file!("setup/spread.json"),
        Kind::Crew => file!("setup/crew.json"),
        Kind::Section => file!("setup/section.json"),
        Kind::Material => file!("setup/material.json"),
        Kind::Lot => file!("setup/lot.json"),
        Kind::CoatingSystem => file!("setup/coating_system.json"),
        Kind::InspectionPlan => file!("setup/inspection_plan.json"),
        Kind::Person => file!("setup/person.json"),
        Kind::Detector => file!("setup/detector.json"),
        Kind::Location => file!("setup/location.json"),
        Kind::WorkingCalendar => file!("setup/working_calendar.json"),
        Kind::ProductionPlan => file!("setup/production_plan.json"),
    };
    let mut items: Vec<Value> =
        serde_json::from_str(text).with_context(|| format!("cannot read {kind:?}"))?;
    for item in &mut items {
        shift.value(item);
        if kind == Kind::WorkingCalendar {
            shift.weekdays(item);
        }
    }
    Ok(items)
}

/// The facts in the order of sending, with their dates moved.
pub fn facts(shift: Shift) -> anyhow::Result<Vec<FactLine>> {
    lines(FACTS, "facts.ndjson", |line| {
        let mut fact: Value = serde_json::from_str(line)?;
        shift.value(&mut fact);
        let object = fact.as_object_mut().context("a fact is not an object")?;
        let joint = object.remove("joint").context("a fact without a joint")?;
        let occurred_at = object.get("occurred_at").cloned().unwrap_or_default();
        Ok(FactLine {
            joint: serde_json::from_value(joint)?,
            occurred_at: serde_json::from_value(occurred_at)?,
            fact,
        })
    })
}

/// The releases in their order, with their dates moved.
pub fn releases(shift: Shift) -> anyhow::Result<Vec<ReleaseLine>> {
    lines(RELEASES, "releases.ndjson", |line| moved(serde_json::from_str(line)?, shift))
}

/// What was sent about the stock and the weather, in its order, with its dates moved.
pub fn sent(shift: Shift) -> anyhow::Result<Vec<SentLine>> {
    let read = |text, name| lines(text, name, |line| moved(serde_json::from_str(line)?, shift));
    let mut sent: Vec<SentLine> = read(STOCK, "stock.ndjson")?;
    sent.extend(read(WEATHER, "weather.ndjson")?);
    sent.sort_by_key(|line| line.at);
    Ok(sent)
}

fn lines<T>(
    text: &str,
    name: &str,
    read: impl Fn(&str) -> anyhow::Result<T>,
) -> anyhow::Result<Vec<T>> {
    let numbered = text.lines().zip(1_usize..);
    numbered
        .map(|(line, number)| {
            read(line).with_context(|| format!("cannot read line {number} of {name}"))
        })
        .collect()
}

fn moved<T: DeserializeOwned>(mut value: Value, shift: Shift) -> anyhow::Result<T> {
    shift.value(&mut value);
    Ok(serde_json::from_value(value)?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_file_can_be_read() {
        let shift = Shift::of_days(3);
        let story = story(shift).unwrap();
        let newest = facts(shift).unwrap().iter().map(|it| it.occurred_at).max().unwrap();
        assert_eq!(story.last_fact_at, newest);
        assert!(!releases(shift).unwrap().is_empty());
        let sent = sent(shift).unwrap();
        for to in ["movements", "deliveries", "counts", "reading-batches", "outlooks"] {
            assert!(sent.iter().any(|line| line.to == to), "{to}");
        }
        assert!(users().unwrap().iter().any(|it| it.role == Role::Administrator));
        assert_eq!(project().unwrap().code, "GL5");
        for kind in Kind::ALL {
            assert!(!items(kind, shift).unwrap().is_empty(), "{kind:?}");
        }
    }
}
