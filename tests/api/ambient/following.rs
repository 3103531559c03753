//! Readings that speak for work: before it is recorded, after it, and after a release.

use app::{ambient::follow_readings, jobs::FollowReadings};
use chrono::TimeDelta;
use harness::{Fact, Line, fact};
use serde_json::{Value, json};
use uuid::Uuid;

use super::{records, with};

/// A ready joint at which nobody read anything.
fn unread() -> Vec<Fact> {
    fact::everything().into_iter().map(|it| it.without("ambient")).collect()
}

/// The mast of spread A at a minute of the test day: 50 % at 20 °C, a dew point of 9.3 °C
/// (psychrolib 2.5.0: 9.27).
fn mast(minute: i64, steel_c: f64) -> Value {
    json!({
        "id": Uuid::now_v7(), "spread": "A", "station": "MAST", "read_at": fact::minute(minute),
        "air_c": 20.0, "relative_humidity_percent": 50.0, "steel_c": steel_c,
    })
}

const ASKED: &str = "SELECT count(*) FROM apalis.jobs WHERE job_type = 'follow_readings'";

/// Sends a reading, and does what it asked for.
async fn reads(line: &Line, reading: &Value) {
    let before = line.app.count(ASKED).await;
    records(&line.inspector, reading).await.expect(201);
    assert!(line.app.count(ASKED).await > before, "asked for in the same transaction");
    follow(line).await;
}

/// Runs every job that was asked for, as it was asked for.
async fn follow(line: &Line) {
    let asked = "SELECT job FROM apalis.jobs WHERE job_type = 'follow_readings' ORDER BY id";
    let jobs: Vec<Vec<u8>> =
        sqlx::query_scalar(asked).fetch_all(&line.app.database.pool).await.unwrap();
    for job in jobs {
        let job: FollowReadings = serde_json::from_slice(&job).unwrap();
        follow_readings(&line.app.worker, &job).await.unwrap();
    }
}

async fn conditions(line: &Line) -> Vec<String> {
    let joint = line.qa.sees("J-1").await;
    let gates = joint["gates"].as_array().unwrap();
    let gate = gates.iter().find(|it| it["gate"] == "conditions").unwrap();
    let reasons = gate["reasons"].as_array().unwrap();
    reasons.iter().map(|it| it["code"].as_str().unwrap().to_owned()).collect()
}

const CONTRADICTED: &str =
    "SELECT count(*) FROM backfill_releases WHERE contradicted_at IS NOT NULL";

#[actix_web::test]
async fn a_reading_that_comes_after_the_work_opens_the_gate() {
    let line = Line::with_joints(1).await;
    line.records("J-1", &unread()).await;
    assert_eq!(conditions(&line).await, ["NO_AMBIENT_READING"; 4]);
    assert_eq!(line.qa.releases("J-1").await.refusal(), ["NO_AMBIENT_READING"]);

    reads(&line, &mast(45, 22.0)).await;

    assert!(conditions(&line).await.is_empty());
    line.qa.releases("J-1").await.expect(201);
}

#[actix_web::test]
async fn a_fact_is_judged_at_once_by_a_reading_that_is_there() {
    let line = Line::with_joints(1).await;
    reads(&line, &mast(0, 10.5)).await;
    let facts = unread();
    line.records("J-1", &facts[..3]).await;
    let recorded = line.crew.records("J-1", &facts[3]).await.expect(201);
    let finding = &recorded["findings"][0];
    assert_eq!(finding["code"], "CONDITIONS_OUT_OF_LIMITS");
    assert_eq!(
        finding["detail"],
        "steel 1.2 °C above the dew point at the priming, ITP-1 asks for 3 \
         (read by MAST at 2026-06-10 08:00 +02:00)"
    );
}

#[actix_web::test]
async fn a_late_reading_contradicts_a_release_that_it_would_have_prevented() {
    let line = Line::with_joints(1).await;
    line.records("J-1", &unread()).await;
    reads(&line, &mast(45, 22.0)).await;
    line.qa.releases("J-1").await.expect(201);
    line.waits(TimeDelta::minutes(5));

    // Nearer to the outer wrap at minute 50, and too cold.
    reads(&line, &mast(49, 10.0)).await;

    let joint = line.qa.sees("J-1").await;
    assert_eq!(joint["stage"], "tested");
    let flags = joint["flags"].to_string();
    assert!(flags.contains("blocked") && flags.contains("contradicted"), "{flags}");
    assert_eq!(line.app.count(CONTRADICTED).await, 1);
    let opened = line.nonconformances().await;
    assert_eq!(opened[0]["code"], "RELEASE_CONTRADICTED");
    assert!(opened[0]["nature"].as_str().unwrap().contains("steel 0.7 °C above the dew point"));
    // Said once, however often it is looked at.
    follow(&line).await;
    assert_eq!(line.nonconformances().await.as_array().unwrap().len(), 1);
}

#[actix_web::test]
async fn a_late_reading_that_changes_nothing_contradicts_nothing() {
    let line = Line::with_joints(1).await;
    line.records("J-1", &unread()).await;
    reads(&line, &mast(45, 22.0)).await;
    line.qa.releases("J-1").await.expect(201);
    line.waits(TimeDelta::minutes(5));
    reads(&line, &mast(49, 21.0)).await;
    // Too far away to speak, however cold.
    reads(&line, &mast(300, 5.0)).await;
    assert_eq!(line.qa.sees("J-1").await["stage"], "released");
    assert_eq!(line.app.count(CONTRADICTED).await, 0);
}

#[actix_web::test]
async fn a_good_reading_that_turns_out_wrong_contradicts_too() {
    let line = Line::with_joints(1).await;
    line.records("J-1", &unread()).await;
    let wrong = mast(45, 22.0);
    reads(&line, &wrong).await;
    line.qa.releases("J-1").await.expect(201);
    line.waits(TimeDelta::minutes(5));
    let right = with(with(mast(45, 9.0), "supersedes", wrong["id"].clone()), "reason", "wet probe");
    reads(&line, &right).await;
    assert_eq!(line.app.count(CONTRADICTED).await, 1);
    assert!(conditions(&line).await.contains(&"CONDITIONS_OUT_OF_LIMITS".to_owned()));
}

#[actix_web::test]
async fn taking_the_only_reading_away_contradicts_what_was_released_on_it() {
    for instead in [json!({}), mast(595, 22.0)] {
        let line = Line::with_joints(1).await;
        line.records("J-1", &unread()).await;
        let good = mast(45, 22.0);
        reads(&line, &good).await;
        line.qa.releases("J-1").await.expect(201);
        line.waits(TimeDelta::minutes(5));
        // It belonged to another day, or to hours too late to speak.
        let mut away = json!({
            "id": Uuid::now_v7(), "spread": "A", "station": "MAST", "read_at": fact::minute(45),
            "supersedes": good["id"], "reason": "typed on the wrong line",
        });
        for (field, value) in instead.as_object().unwrap() {
            away[field] = value.clone();
        }
        reads(&line, &away).await;
        assert_eq!(line.app.count(CONTRADICTED).await, 1, "{instead}");
        assert_eq!(conditions(&line).await[0], "NO_AMBIENT_READING");
    }
}

#[actix_web::test]
async fn a_mast_without_steel_contradicts_no_release() {
    let line = Line::with_ready_joint().await;
    line.qa.releases("J-1").await.expect(201);
    line.waits(TimeDelta::minutes(5));
    reads(&line, &with(mast(60, 22.0), "steel_c", Value::Null)).await;
    assert!(conditions(&line).await.is_empty());
    assert_eq!(line.app.count(CONTRADICTED).await, 0);
}

#[actix_web::test]
async fn what_was_read_at_the_joint_needs_no_mast() {
    let line = Line::with_ready_joint().await;
    line.qa.releases("J-1").await.expect(201);
    line.waits(TimeDelta::minutes(5));
    // The works have their own readings; the test has none, and 9 °C is under the dew point.
    reads(&line, &mast(45, 9.5)).await;
    assert_eq!(line.app.count(CONTRADICTED).await, 0);
    reads(&line, &mast(60, 9.0)).await;
    assert_eq!(conditions(&line).await, ["TEST_CONDITIONS_OUT_OF_LIMITS"]);
    assert_eq!(line.app.count(CONTRADICTED).await, 1);
}

/// Facts and readings, in several orders of arrival: the same gates and findings in the end.
#[actix_web::test]
async fn any_order_of_arrival_ends_the_same() {
    let readings = [mast(-100, 22.0), mast(35, 22.0), mast(49, 10.0), mast(70, 22.0)];
    let corrected = with(
        with(mast(49, 21.0), "supersedes", readings[2]["id"].clone()),
        "reason",
        "the probe hung in the air",
    );
    let facts = unread();
    let mut ends: Vec<Value> = Vec::new();
    for order in 0..6_usize {
        let line = Line::with_joints(1).await;
        let mut sends: Vec<Result<&Fact, &Value>> = facts.iter().map(Ok).collect();
        sends.extend(readings.iter().chain([&corrected]).map(Err));
        // Fixed permutations: what comes after what differs in each.
        let count = sends.len();
        let step = [1, 5, 7, 11, 5, 7][order];
        let places = (0..count).map(|place| (place * step + order * 3) % count);
        for place in places {
            match sends[place] {
                Ok(fact) => drop(line.inspector.records("J-1", fact).await.expect(201)),
                Err(reading) => reads(&line, reading).await,
            }
        }
        let joint = line.qa.sees("J-1").await;
        let mut end = json!({
            "stage": joint["stage"], "flags": joint["flags"], "gates": joint["gates"],
            "next_steps": joint["next_steps"],
        });
        // The events have the same ids in each order, so nothing has to be left out.
        end["nonconformances"] = line.nonconformances().await.as_array().unwrap().len().into();
        ends.push(end);
    }
    for end in &ends {
        assert_eq!(end, &ends[0]);
    }
}
