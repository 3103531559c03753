//! A crew whose rate leaves its limits is told of, and the warning ends with its cause.

use app::quality::{Looked, ask_each, repair_rate};
use chrono::{DateTime, TimeDelta, Utc};
use harness::{
    Line,
    fact::{failed_test, passed_test, wrapped_outer},
};
use serde_json::{Value, json};

const DAY: i64 = 24 * 60;

/// Twelve joints a day, from so many days ago on; `bad` of them fail their first test.
async fn works(line: &Line, days_ago: i64, prefix: &str, bad: i64) {
    let joints = line.adds_joints("S1", prefix, 12).await;
    let start = -days_ago * DAY;
    let events = (0i64..).zip(&joints).flat_map(|(n, joint)| {
        let test =
            if n < bad { failed_test(start + 100 + n) } else { passed_test(start + 100 + n) };
        [wrapped_outer(start + n).on(joint), test.on(joint)]
    });
    let items = line.inspector.sends(events.collect()).await;
    assert!(items.as_array().unwrap().iter().all(|it| it["status"] == 201), "{items:#}");
}

async fn looks(line: &Line) -> Looked {
    repair_rate(&line.app.worker, line.project).await.unwrap()
}

async fn open(line: &Line) -> Vec<Value> {
    let page = line.client.gets("/warnings?kind=repair_rate_signal").await.expect(200);
    page["items"].as_array().unwrap().clone()
}

#[actix_web::test]
async fn a_crew_that_drifts_is_to_be_looked_at_until_it_is_over() {
    let line = Line::new().await;
    for (n, prefix) in ["K", "L", "M", "N", "O", "P", "Q"].iter().enumerate() {
        works(&line, 8 + i64::try_from(n).unwrap(), prefix, 0).await;
    }
    assert_eq!(looks(&line).await, Looked { crews: 1, warned: 0, cleared: 0 });

    // p̄ = 6/96; 12 joints: 0.0625 + 3 √(0.0625 · 0.9375/12) = 0.2721, by hand; 6/12 is over it.
    works(&line, 2, "R", 6).await;
    assert_eq!(looks(&line).await, Looked { crews: 1, warned: 1, cleared: 0 });
    let warning = open(&line).await.remove(0);
    assert_eq!((&warning["subject"], &warning["severity"]), (&json!("A1"), &json!("notice")));
    let detail = warning["detail"].as_str().unwrap();
    for part in ["12 joints of crew A1", "6 needed", "27.2 %", "6 of 96", "please look"] {
        assert!(detail.contains(part), "{part} in {detail}");
    }
    assert_eq!(warning["values"]["signals"][0]["from"], "2026-06-08");
    // Looking again says the same and writes nothing.
    assert_eq!(looks(&line).await, Looked { crews: 1, warned: 1, cleared: 0 });
    assert_eq!(open(&line).await, [warning]);

    works(&line, 1, "S", 7).await;
    looks(&line).await;
    assert_eq!(open(&line).await[0]["severity"], "urgent");

    line.waits(TimeDelta::days(8));
    assert_eq!(looks(&line).await, Looked { crews: 1, warned: 0, cleared: 1 });
    assert!(open(&line).await.is_empty());
}

#[actix_web::test]
async fn it_is_looked_at_each_night_and_when_asked() {
    let line = Line::new().await;
    let path = "/jobs/repair_rate/runs";
    let asked = line.coordinator.posts(path, json!({})).await.expect(202);
    assert_eq!(asked["job"], "repair_rate");
    line.inspector.posts(path, json!({})).await.problem(403, "FORBIDDEN");

    // 02:00 on site is midnight UTC.
    let asks = async |tick: &str| {
        let tick: DateTime<Utc> = tick.parse().unwrap();
        ask_each(&line.app.worker, tick).await.unwrap()
    };
    assert_eq!(asks("2026-06-10T23:40:00Z").await, 0);
    assert_eq!(asks("2026-06-11T00:40:00Z").await, 2, "both projects");
    assert_eq!(asks("2026-06-11T01:40:00Z").await, 0);
    assert_eq!(asks("2026-06-12T00:40:00Z").await, 2);
}
