//! Who did what, when and from where.

mod many;

use chrono::TimeDelta;
use harness::{
    Fact, Line, Person,
    fact::{damage_found, failed_test, passed_test, repaired},
};
use serde_json::{Value, json};
use store::warnings::{Raised, raise};
use uuid::Uuid;

async fn deeds(person: &Person, query: &str) -> Vec<Value> {
    let page = person.gets(&format!("/audit?{query}")).await.expect(200);
    page["items"].as_array().unwrap().clone()
}

fn whats(deeds: &[Value]) -> Vec<&str> {
    deeds.iter().map(|it| it["what"].as_str().unwrap()).collect()
}

/// Everybody does something, a second apart: the newest first, as `(what, name, joint)`.
const DONE: [(&str, Option<&str>, Option<&str>); 8] = [
    ("read", Some("Name of inspector"), None),
    ("stock_moved", Some("Name of materials"), None),
    ("warning_acknowledged", Some("Name of coordinator"), None),
    ("nonconformance_closed", Some("Name of qa"), Some("J-1")),
    ("nonconformance_opened", None, Some("J-1")),
    ("release_contradicted", None, Some("J-1")),
    ("release_signed", Some("Name of qa"), Some("J-1")),
    ("setup_changed", Some("Admin"), None),
];

async fn busy_line() -> Line {
    let line = Line::with_joints(2).await;
    let second = || line.waits(TimeDelta::seconds(1));
    line.makes_ready("J-1").await;
    let yard = json!({ "code": "YARD", "name": "Yard", "kind": "yard" });
    second();
    line.admin.puts("/stock/locations/YARD", yard).await.expect(201);
    second();
    let released = line.qa.releases("J-1").await.expect(201);
    second();
    line.crew.records("J-1", &damage_found(300)).await.expect(201);
    second();
    let test = passed_test(598);
    line.inspector.records_all("J-1", &[repaired(400), test.clone()]).await;
    let opened = line.nonconformances().await[0].clone();
    second();
    let body = json!({
        "disposition": "repair", "closing_event": test.id(), "note": "repaired and tested",
        "version": opened["version"],
    });
    let path = format!("/nonconformances/{}/disposition", opened["id"].as_str().unwrap());
    line.qa.posts(&path, body).await.expect(200);
    second();
    let warning = raises(&line).await;
    let path = format!("/warnings/{warning}/acknowledgement");
    line.coordinator.posts(&path, json!({ "note": "on it" })).await.expect(201);
    second();
    let movement = json!({
        "id": Uuid::now_v7(), "kind": "receive", "occurred_at": line.app.now(), "lot": "L-INNER",
        "quantity": 30, "to": "YARD",
    });
    line.materials.posts("/stock/movements", movement).await.expect(201);
    second();
    let path = format!("/backfill-releases/{}", released["release"].as_str().unwrap());
    line.inspector.gets(&path).await.expect(200);
    line
}

async fn raises(line: &Line) -> Uuid {
    let now = line.app.now();
    let mut tx = line.app.worker.begin_in(line.project).await.unwrap();
    let (id, values) = (app::new_id(now), json!({}));
    let (kind, subject, severity, detail) = ("runs_out", "INNER", "notice", "tape runs out");
    let warning = Raised { id, kind, subject, severity, detail, values };
    raise(&mut tx, line.project, &warning, now).await.unwrap();
    line.app.worker.commit(tx).await.unwrap();
    id
}

#[actix_web::test]
async fn everything_that_somebody_did_is_in_one_sequence() {
    let line = busy_line().await;
    let all = deeds(&line.qa, "limit=500").await;
    let others = all
        .iter()
        .filter(|it| !matches!(it["what"].as_str().unwrap(), "signed_in" | "fact_recorded"));
    let told: Vec<_> = others
        .map(|it| (it["what"].as_str().unwrap(), it["name"].as_str(), it["joint"].as_str()))
        .collect();
    // What the server does at one moment has an order, though nobody could say which is right.
    let mut newest: Vec<_> = told[..DONE.len()].to_vec();
    newest[4..6].sort_unstable();
    assert_eq!(newest, DONE);
    // Newest first.
    let times: Vec<&str> = all.iter().map(|it| it["at"].as_str().unwrap()).collect();
    assert!(times.is_sorted_by(|earlier, later| earlier >= later), "{times:?}");

    let facts = all.iter().filter(|it| it["what"] == "fact_recorded").count();
    assert_eq!(facts, 10);
    let read = &all.iter().find(|it| it["what"] == "read").unwrap();
    assert!(
        read["request_id"].is_string() && read["subject"].as_str().unwrap().contains("certificate")
    );
    let moved = all.iter().find(|it| it["what"] == "stock_moved").unwrap();
    assert_eq!(
        (&moved["subject"], moved["detail"]["quantity"].as_f64()),
        (&json!("L-INNER"), Some(30.0))
    );
    let signed_in = all.iter().filter(|it| it["what"] == "signed_in");
    let names: Vec<&str> = signed_in.map(|it| it["name"].as_str().unwrap()).collect();
    assert!(names.contains(&"Name of crew") && !names.contains(&"Name of stranger"), "{names:?}");
}

#[actix_web::test]
async fn it_is_asked_by_joint_person_and_day() {
    let line = busy_line().await;
    line.records("J-2", &[failed_test(100)]).await;
    let of_joint = deeds(&line.qa, "joint=J-1&limit=500").await;
    assert!(of_joint.iter().all(|it| it["joint"] == "J-1"), "{of_joint:#?}");
    let found = whats(&of_joint);
    for what in ["fact_recorded", "release_signed", "release_contradicted", "nonconformance_closed"]
    {
        assert!(found.contains(&what), "{what} in {found:?}");
    }
    let of_other = deeds(&line.qa, "joint=J-2").await;
    assert!(of_other.iter().all(|it| it["joint"] == "J-2"), "{of_other:#?}");
    assert!(whats(&of_other).contains(&"fact_recorded"), "{of_other:#?}");

    let of_crew = deeds(&line.qa, &format!("user={}", line.crew.user)).await;
    // The clock of the test stands still between the two.
    assert_eq!(whats(&of_crew), ["signed_in", "fact_recorded"]);
    assert_eq!(of_crew[1]["subject"], "damage_found");

    let all = deeds(&line.qa, "limit=500").await;
    assert_eq!(deeds(&line.qa, "on=2026-06-10&limit=500").await, all);
    assert!(deeds(&line.qa, "on=2026-06-09").await.is_empty());
    // Six hours on it is 11 June on site.
    line.waits(TimeDelta::hours(6));
    let late = Fact::new("visually_inspected", 700, json!({ "result": "pass" }));
    line.inspector.records("J-2", &late).await.expect(201);
    let next_day = deeds(&line.qa, "on=2026-06-11&limit=500").await;
    assert!(whats(&next_day).contains(&"fact_recorded"), "{next_day:#?}");
    assert!(next_day.iter().all(|it| it["at"].as_str().unwrap() >= "2026-06-10T22:00:00Z"));
}

#[actix_web::test]
async fn pages_follow_each_other_without_a_gap() {
    let line = busy_line().await;
    // A batch is recorded at one moment: the page may end in the middle of it.
    line.records("J-2", &harness::fact::everything()).await;
    let whole = deeds(&line.admin, "limit=500").await;
    let whole: Vec<&Value> = whole.iter().filter(|it| it["what"] != "signed_in").collect();
    for limit in [1, 3, 7] {
        let (mut walked, mut cursor) = (Vec::new(), String::new());
        loop {
            let path = format!("/audit?limit={limit}{cursor}");
            let page = line.admin.gets(&path).await.expect(200);
            walked.extend(page["items"].as_array().unwrap().clone());
            let Some(next) = page["next"].as_str() else { break };
            cursor = format!("&cursor={next}");
        }
        walked.retain(|it| it["what"] != "signed_in");
        assert_eq!(walked.iter().collect::<Vec<_>>(), whole, "{limit} at a time");
    }
}

#[actix_web::test]
async fn it_is_for_those_who_answer_for_the_records() {
    let line = busy_line().await;
    for person in [&line.client, &line.coordinator, &line.inspector, &line.crew, &line.materials] {
        person.gets("/audit").await.problem(403, "FORBIDDEN");
    }
    line.stranger.gets("/audit").await.problem(404, "NOT_FOUND");
    line.qa.gets("/audit?joint=J-9").await.problem(404, "NOT_FOUND");
    line.qa.gets("/audit?user=me").await.problem(400, "INVALID_PARAMETER");
    line.qa.gets("/audit?cursor=x").await.problem(400, "INVALID_CURSOR");
    for on in ["-9999-01-01", "1969-12-31", "%2B262142-12-31"] {
        assert!(deeds(&line.qa, &format!("on={on}")).await.is_empty());
    }
    // `["0001-01-01T00:00:00Z","x"]` and `["2026-06-10T16:00:00Z","\u0000"]`, in base64, which no page gave.
    let forged = "WyIwMDAxLTAxLTAxVDAwOjAwOjAwWiIsIngiXQ";
    assert!(deeds(&line.qa, &format!("cursor={forged}")).await.is_empty());
    let forged = "WyIyMDI2LTA2LTEwVDE2OjAwOjAwWiIsIlx1MDAwMCJd";
    line.qa.gets(&format!("/audit?cursor={forged}")).await.problem(400, "INVALID_CURSOR");
    // Of another project nothing is seen, not even where one is its administrator.
    let path = "/v1/projects/SOUTH/audit?limit=500";
    let theirs = line.stranger.asks(actix_web::http::Method::GET, path, None).await.expect(200);
    let theirs = theirs["items"].as_array().unwrap();
    assert!(whats(theirs).iter().all(|it| *it == "signed_in"), "{theirs:#?}");
    assert!(theirs.iter().all(|it| it["name"] != "Name of crew"), "{theirs:#?}");
}
