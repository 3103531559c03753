//! A recorded fact, and the order in which facts are folded.

use std::collections::HashSet;

use chrono::{DateTime, TimeDelta, Utc};
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};

use super::event::{self, Event};
use crate::{
    ids::{EventId, UserId},
    schema::{self, FieldError},
};

/// A fact as a client sends it.
#[derive(Debug, Clone, PartialEq)]
pub struct NewFact {
    /// Made by the client, so that a repeated send is recognised.
    pub id: EventId,
    /// When it happened in the field; judges every technical rule.
    pub occurred_at: DateTime<Utc>,
    /// The entry this one takes the place of.
    pub supersedes: Option<EventId>,
    /// Why it takes its place.
    pub reason: Option<String>,
    /// What happened.
    pub event: Event,
}

/// A fact with the two things the server adds: who sent it and when it arrived.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Fact {
    /// Client-made id.
    pub id: EventId,
    /// When it happened in the field.
    pub occurred_at: DateTime<Utc>,
    /// When the server stored it.
    pub recorded_at: DateTime<Utc>,
    /// Who was signed in.
    pub recorded_by: UserId,
    /// The entry this one takes the place of.
    pub supersedes: Option<EventId>,
    /// What happened.
    pub event: Event,
}

/// How far the clock of a device may be ahead of ours: less than any repair takes (common
/// practice, no source).
pub const CLOCK_TOLERANCE: TimeDelta = TimeDelta::minutes(2);

impl Fact {
    /// Whether it was recorded before it is said to have happened: then nobody knows when it did.
    pub fn is_ahead(&self) -> bool {
        self.occurred_at > self.recorded_at + CLOCK_TOLERANCE
    }
}

/// The facts that count, in the order of the field.
///
/// An entry that another one names in `supersedes` does not count, whatever became of that other
/// one: an entry withdrawn by mistake is recorded again. So no order of arrival matters and no
/// circle of corrections can exist.
///
/// At one and the same instant a passed test comes first: a test cannot prove what happened in
/// the moment it ended.
pub fn in_order<'a>(facts: impl IntoIterator<Item = &'a Fact> + Clone) -> Vec<&'a Fact> {
    let superseded: HashSet<EventId> =
        facts.clone().into_iter().filter_map(|fact| fact.supersedes).collect();
    let mut seen = HashSet::new();
    let mut counting: Vec<&Fact> = facts
        .into_iter()
        .filter(|fact| !superseded.contains(&fact.id) && seen.insert(fact.id))
        .collect();
    counting.sort_by_key(|fact| (fact.occurred_at, rank(&fact.event), fact.id));
    counting
}

fn rank(event: &Event) -> usize {
    match event {
        Event::HolidayTested(test) if test.passed() => 0,
        other => 1 + Event::KINDS.iter().position(|kind| *kind == other.kind()).unwrap_or(0),
    }
}

/// Reads a fact from JSON: `{id, kind, occurred_at, supersedes?, reason?, …fields of the kind}`.
///
/// All faults are named together, the envelope's and the kind's.
pub fn parse(value: &Value) -> Result<NewFact, Vec<FieldError>> {
    let Value::Object(object) = value else {
        return Err(vec![FieldError::new("", "WRONG_TYPE", "a fact is a JSON object")]);
    };
    let mut fields = object.clone();
    let mut faults = schema::unkeepable(value);
    let id =
        envelope(&mut fields, "id", &mut faults, "a UUID (version 7) made by the client", |text| {
            text.parse::<EventId>().ok()
        });
    let occurred_at = envelope(
        &mut fields,
        "occurred_at",
        &mut faults,
        "an RFC 3339 time with its offset",
        |text| {
            // PostgreSQL keeps microseconds; what is hashed must be what can be read back.
            use chrono::SubsecRound as _;
            DateTime::parse_from_rfc3339(text)
                .ok()
                .map(|at| at.with_timezone(&Utc).trunc_subsecs(6))
                // A leap second can be read and cannot be kept.
                .filter(|at| at.timestamp_subsec_nanos() < 1_000_000_000)
        },
    );
    let supersedes =
        optional(&mut fields, "supersedes", &mut faults, "the UUID of a fact", |text| {
            text.parse::<EventId>().ok()
        });
    let reason =
        optional(&mut fields, "reason", &mut faults, "a text of 3 to 2000 characters", |text| {
            (3..=2000).contains(&text.trim().chars().count()).then(|| text.to_owned())
        });
    let event = parse_event(&mut fields, &mut faults);
    faults.extend(event.iter().filter_map(Event::lot_work).flat_map(|work| work.faults()));
    if supersedes.is_some() && reason.is_none() {
        faults.push(FieldError::new("/reason", "REQUIRED", "say why the entry is superseded"));
    }
    if supersedes.is_none() && matches!(event, Some(Event::Superseded(_))) {
        faults.push(FieldError::new("/supersedes", "REQUIRED", "name the entry that is withdrawn"));
    }
    if supersedes.is_some() && supersedes == id {
        // Such an entry would withdraw itself: recorded, and never counted.
        let detail = "an entry cannot take its own place: name the earlier one";
        faults.push(FieldError::new("/supersedes", "SUPERSEDES_ITSELF", detail));
    }
    match (id, occurred_at, event) {
        (Some(id), Some(occurred_at), Some(event)) if faults.is_empty() => {
            Ok(NewFact { id, occurred_at, supersedes, reason, event })
        }
        _ => Err(faults),
    }
}

fn envelope<T>(
    fields: &mut Map<String, Value>,
    name: &str,
    faults: &mut Vec<FieldError>,
    right: &str,
    read: impl Fn(&str) -> Option<T>,
) -> Option<T> {
    if matches!(fields.get(name), None | Some(Value::Null)) {
        fields.remove(name);
        let detail = format!("`{name}` is missing: {right}");
        faults.push(FieldError::new(&format!("/{name}"), "REQUIRED", detail));
        return None;
    }
    optional(fields, name, faults, right, read)
}

fn optional<T>(
    fields: &mut Map<String, Value>,
    name: &str,
    faults: &mut Vec<FieldError>,
    right: &str,
    read: impl Fn(&str) -> Option<T>,
) -> Option<T> {
    let value = fields.remove(name)?;
    if value.is_null() {
        return None;
    }
    let found = value.as_str().and_then(read);
    if found.is_none() {
        let detail = format!("{value} is not {right}");
        faults.push(FieldError::new(&format!("/{name}"), "WRONG_FORMAT", detail));
    }
    found
}

fn parse_event(fields: &mut Map<String, Value>, faults: &mut Vec<FieldError>) -> Option<Event> {
    let kind = envelope(fields, "kind", faults, "one of the kinds of facts", |text| {
        Some(text.to_owned())
    })?;
    let rest = Value::Object(std::mem::take(fields));
    macro_rules! by_kind {
        ($($variant:ident = $name:literal),* $(,)?) => {
            match kind.as_str() {
                $($name => schema::read::<event::$variant>(&rest).map(Event::$variant),)*
                unknown => Err(vec![FieldError::new(
                    "/kind",
                    "UNKNOWN_VALUE",
                    format!("`{unknown}` is no kind of fact; known: {}", Event::KINDS.join(", ")),
                )]),
            }
        };
    }
    let read = by_kind!(
        Welded = "welded",
        WeldAccepted = "weld_accepted",
        WeldRejected = "weld_rejected",
        WeldRepaired = "weld_repaired",
        CutOut = "cut_out",
        SurfacePrepared = "surface_prepared",
        Primed = "primed",
        Profiled = "profiled",
        Wrapped = "wrapped",
        HolidayTested = "holiday_tested",
        Lowered = "lowered",
        Backfilled = "backfilled",
        VisuallyInspected = "visually_inspected",
        ThicknessMeasured = "thickness_measured",
        PeelTested = "peel_tested",
        DamageFound = "damage_found",
        Repaired = "repaired",
        Excavated = "excavated",
        Superseded = "superseded",
    );
    read.map_err(|found| faults.extend(found)).ok()
}
