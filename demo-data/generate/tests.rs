use std::collections::{BTreeMap, BTreeSet, HashMap};

use chrono::{DateTime, Utc};
use domain::{
    ambient::{Measured, StationReading},
    ids::{ReleaseId, UserId},
    joints::{
        Event, Fact, GateKind, JointState, Outside, RegisterEntry, ReleaseInForce, assess, fact,
    },
    register::{Header, sniff_delimiter},
    schema,
    setup::{self, Item, Kind, ProjectSetup},
};
use serde_json::Value;

use super::files;

fn fresh() -> BTreeMap<String, String> {
    files::all().unwrap().into_iter().collect()
}

fn ndjson(text: &str) -> Vec<Value> {
    text.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

fn project_setup(files: &BTreeMap<String, String>) -> ProjectSetup {
    let mut read = ProjectSetup::empty(chrono_tz::Europe::Lisbon);
    for kind in Kind::ALL {
        let items: Vec<Value> =
            serde_json::from_str(&files[&format!("setup/{}.json", kind.name())]).unwrap();
        assert!(!items.is_empty(), "{}", kind.name());
        for item in items {
            match kind {
                Kind::LinePipe => check::<setup::LinePipe>(&item, &read),
                Kind::Spread => check::<setup::Spread>(&item, &read),
                Kind::Crew => check::<setup::Crew>(&item, &read),
                Kind::Section => check::<setup::Section>(&item, &read),
                Kind::Material => check::<setup::Material>(&item, &read),
                Kind::Lot => check::<setup::Lot>(&item, &read),
                Kind::CoatingSystem => check::<setup::CoatingSystem>(&item, &read),
                Kind::InspectionPlan => check::<setup::InspectionPlan>(&item, &read),
                Kind::Person => check::<setup::Person>(&item, &read),
                Kind::Detector => check::<setup::Detector>(&item, &read),
                Kind::Location => check::<setup::Location>(&item, &read),
                Kind::WorkingCalendar => check::<setup::WorkingCalendar>(&item, &read),
                Kind::ProductionPlan => check::<setup::ProductionPlan>(&item, &read),
            }
            let code = item["code"].as_str().unwrap_or("the only one").to_owned();
            read.insert(kind, code, item).unwrap();
        }
    }
    read
}

/// The item reads without a fault, and what it names is there already.
fn check<T: Item>(item: &Value, known: &ProjectSetup) {
    let read = schema::read::<T>(item).unwrap_or_else(|faults| panic!("{item}: {faults:?}"));
    for reference in read.references() {
        assert!(known.knows(&reference), "{}: {reference:?}", read.code());
    }
}

#[test]
fn the_committed_files_are_what_the_generator_writes() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR"));
    for (name, text) in fresh() {
        let committed = std::fs::read_to_string(folder.join(&name)).unwrap_or_default();
        assert!(committed == text, "{name} is not fresh: run `cargo run -p demo-data`");
    }
}

#[test]
fn the_register_has_no_fault() {
    let files = fresh();
    let setup = project_setup(&files);
    let text = &files["joints.csv"];
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(sniff_delimiter(text.as_bytes()))
        .flexible(true)
        .from_reader(text.as_bytes());
    let header = Header::read(reader.headers().unwrap()).unwrap();
    let mut numbers = BTreeSet::new();
    let mut before = 0.0;
    for (row, record) in (2..).zip(reader.records()) {
        let entry = header.entry(row, &record.unwrap(), &setup).unwrap();
        assert!(setup.assignment(&entry).is_some());
        assert!(entry.kp_m >= before, "row {row} goes back");
        before = entry.kp_m;
        assert!(numbers.insert(entry.joint_number));
    }
    assert!((2_050..2_200).contains(&numbers.len()), "{}", numbers.len());
}

#[test]
fn every_fact_is_read_and_belongs_to_a_joint() {
    let files = fresh();
    let numbers: BTreeSet<&str> =
        files["joints.csv"].lines().skip(1).filter_map(|line| line.split(',').next()).collect();
    let story: Value = serde_json::from_str(&files["story.json"]).unwrap();
    let late: BTreeSet<&str> =
        story["late_facts"].as_array().unwrap().iter().filter_map(Value::as_str).collect();
    assert!(!late.is_empty());
    let mut ids = BTreeSet::new();
    let mut kinds: HashMap<&str, usize> = HashMap::new();
    let mut before = None;
    for mut line in ndjson(&files["facts.ndjson"]) {
        let joint = line.as_object_mut().unwrap().remove("joint").unwrap();
        assert!(numbers.contains(joint.as_str().unwrap()), "{joint}");
        let fact = fact::parse(&line).unwrap_or_else(|faults| panic!("{line}: {faults:?}"));
        assert!(ids.insert(fact.id), "{line}");
        assert!(fact.supersedes.is_none_or(|it| ids.contains(&it)), "{line}");
        *kinds.entry(fact.event.kind()).or_default() += 1;
        if !late.contains(fact.id.to_string().as_str()) {
            assert!(before.is_none_or(|it| it <= fact.occurred_at), "{line} goes back");
            before = Some(fact.occurred_at);
        }
    }
    assert!((12_000..17_000).contains(&ids.len()), "{}", ids.len());
    for kind in Event::KINDS.iter().filter(|kind| **kind != "excavated") {
        assert!(kinds.contains_key(kind), "no {kind}");
    }
}

#[test]
fn nothing_is_covered_without_its_release_after_its_test() {
    let files = fresh();
    let mut released: HashMap<String, Vec<DateTime<Utc>>> = HashMap::new();
    for release in ndjson(&files["releases.ndjson"]) {
        let at = release["at"].as_str().unwrap().parse().unwrap();
        for joint in release["joints"].as_array().unwrap() {
            released.entry(joint.as_str().unwrap().to_owned()).or_default().push(at);
        }
    }
    let mut tested = HashMap::new();
    for line in ndjson(&files["facts.ndjson"]) {
        let joint = line["joint"].as_str().unwrap().to_owned();
        let at: DateTime<Utc> = line["occurred_at"].as_str().unwrap().parse().unwrap();
        match line["kind"].as_str().unwrap() {
            "holiday_tested" if line["result"] == "pass" => drop(tested.insert(joint, at)),
            "backfilled" => {
                let test = tested[&joint];
                let release = *released[&joint].iter().max().unwrap();
                assert!(test < release && release < at, "{joint}");
                assert!(at - test < chrono::TimeDelta::hours(48), "{joint}");
            }
            _ => {}
        }
    }
    let story: Value = serde_json::from_str(&files["story.json"]).unwrap();
    let untested = story["untested_joint"].as_str().unwrap();
    assert!(!untested.is_empty() && !tested.contains_key(untested));
    assert!(!released.contains_key(untested));
}

/// Every signing is played: with the facts sent before it, each of its joints has all gates open;
/// and on the last day there is a joint in every stage.
#[test]
fn every_release_would_be_given_and_the_last_day_has_every_stage() {
    let files = fresh();
    let setup = project_setup(&files);
    let entries = register(&files["joints.csv"], &setup);
    let facts = facts_by_joint(&files["facts.ndjson"]);
    let masts = masts(&files["weather.ndjson"]);
    let outside = |entry: &RegisterEntry, at: DateTime<Utc>| {
        let spread = setup.sections[&entry.section].spread.clone().unwrap();
        let known = masts[&spread].iter().filter(|reading| reading.recorded_at <= at);
        Outside { readings: known.cloned().collect(), ..Outside::default() }
    };
    let mut newest: HashMap<String, DateTime<Utc>> = HashMap::new();
    for release in ndjson(&files["releases.ndjson"]) {
        let at: DateTime<Utc> = release["at"].as_str().unwrap().parse().unwrap();
        for joint in release["joints"].as_array().unwrap().iter().filter_map(Value::as_str) {
            let sent: Vec<&Fact> =
                facts[joint].iter().filter(|fact| fact.recorded_at <= at).collect();
            let state = JointState::fold(sent.iter().copied());
            let outside = outside(&entries[joint], at);
            let judged = assess(&state, &entries[joint], &setup, &outside, at);
            let shut: Vec<_> = judged.shut().collect();
            assert!(shut.is_empty(), "{joint} at {at}: {shut:?}");
            newest.insert(joint.to_owned(), at);
        }
    }
    let story: Value = serde_json::from_str(&files["story.json"]).unwrap();
    let now: DateTime<Utc> = story["last_fact_at"].as_str().unwrap().parse().unwrap();
    let mut stages: BTreeMap<String, usize> = BTreeMap::new();
    let mut refused = BTreeSet::new();
    for (number, entry) in &entries {
        let state = JointState::fold(&facts[number]);
        let held = newest.get(number).filter(|_| state.damages.is_empty());
        let release = held.map(|at| ReleaseInForce {
            id: ReleaseId(uuid::Uuid::nil()),
            holiday_test: state.newest_test().unwrap().mark.event,
            released_at: *at,
            signer: UserId(uuid::Uuid::nil()),
        });
        let outside = Outside { release, ..outside(entry, now) };
        let judged = assess(&state, entry, &setup, &outside, now);
        *stages.entry(format!("{:?}", judged.stage)).or_default() += 1;
        for flag in &judged.flags {
            *stages.entry(format!("{flag:?}")).or_default() += 1;
        }
        if !newest.contains_key(number) && state.coat.layers.len() >= 2 && !state.tests.is_empty() {
            refused.extend(judged.shut().map(|gate| (format!("{:?}", gate.gate), number.clone())));
        }
    }
    for stage in
        ["Welded", "Accepted", "Prepared", "Primed", "Wrapped", "Tested", "Released", "Backfilled"]
    {
        assert!(stages.contains_key(stage), "no {stage} in {stages:?}");
    }
    assert!(stages.contains_key("InRepair") && stages.contains_key("CutOut"), "{stages:?}");
    assert!(!stages.contains_key("BuriedUnreleased"), "{stages:?}");
    // What the story wants refused is refused, and nothing else that was tested before today.
    let told = |name: &str| match &story[name] {
        Value::Array(many) => many.iter().map(|it| it.as_str().unwrap().to_owned()).collect(),
        one => vec![one.as_str().unwrap().to_owned()],
    };
    let expected: BTreeSet<String> = [
        "wet_morning_joints",
        "lapsed_person_joints",
        "expired_lot_joint",
        "lapsed_detector_joints",
        "joints_in_repair",
    ]
    .into_iter()
    .flat_map(told)
    .collect();
    let untested = story["untested_joint"].as_str().unwrap();
    let state = JointState::fold(&facts[untested]);
    let judged = assess(&state, &entries[untested], &setup, &Outside::default(), now);
    let shut: Vec<GateKind> = judged.shut().map(|gate| gate.gate).collect();
    assert!(shut.contains(&GateKind::HolidayTest), "{shut:?}");
    let found: BTreeSet<String> = refused.into_iter().map(|(_, number)| number).collect();
    assert_eq!(found, expected);
}

/// What the masts told, by spread.
fn masts(text: &str) -> HashMap<String, Vec<StationReading>> {
    let mut masts: HashMap<String, Vec<StationReading>> = HashMap::new();
    for line in ndjson(text) {
        for reading in line["body"]["readings"].as_array().into_iter().flatten() {
            let Some(spread) = reading["spread"].as_str() else { continue };
            let number = |name: &str| reading[name].as_f64();
            let celsius = |value: f64| units::Temperature::from_celsius(value).unwrap();
            let humidity = number("relative_humidity_percent");
            masts.entry(spread.to_owned()).or_default().push(StationReading {
                id: reading["id"].as_str().unwrap().parse().unwrap(),
                station: reading["station"].as_str().unwrap().to_owned(),
                read_at: reading["read_at"].as_str().unwrap().parse().unwrap(),
                recorded_at: line["at"].as_str().unwrap().parse().unwrap(),
                measured: Measured {
                    air: celsius(number("air_c").unwrap()),
                    relative_humidity: humidity
                        .map(|it| units::RelativeHumidity::from_percent(it).unwrap()),
                    steel: number("steel_c").map(celsius),
                    wind_m_s: None,
                    rain_mm: number("rain_mm"),
                },
            });
        }
    }
    masts
}

fn register(text: &str, setup: &ProjectSetup) -> BTreeMap<String, RegisterEntry> {
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let header = Header::read(reader.headers().unwrap()).unwrap();
    (2..)
        .zip(reader.records())
        .map(|(row, record)| header.entry(row, &record.unwrap(), setup).unwrap())
        .map(|entry| (entry.joint_number.clone(), entry))
        .collect()
}

fn facts_by_joint(text: &str) -> HashMap<String, Vec<Fact>> {
    let mut facts: HashMap<String, Vec<Fact>> = HashMap::new();
    let mut sent = DateTime::<Utc>::MIN_UTC;
    for mut line in ndjson(text) {
        let joint = line.as_object_mut().unwrap().remove("joint").unwrap();
        let new = fact::parse(&line).unwrap();
        sent = sent.max(new.occurred_at);
        facts.entry(joint.as_str().unwrap().to_owned()).or_default().push(Fact {
            id: new.id,
            occurred_at: new.occurred_at,
            recorded_at: sent,
            recorded_by: UserId(uuid::Uuid::nil()),
            supersedes: new.supersedes,
            event: new.event,
        });
    }
    facts
}
