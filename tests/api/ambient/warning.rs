//! What the weather and running clocks warn of.

use app::ambient::{ambient_check, ask_clocks, primer_clock};
use chrono::TimeDelta;
use harness::{Line, fact};
use serde_json::{Value, json};
use uuid::Uuid;

use super::{records, site};

async fn open(line: &Line) -> Vec<(String, String, String)> {
    let warnings = line.coordinator.gets("/warnings").await.expect(200);
    let text = |it: &Value, field: &str| it[field].as_str().unwrap().to_owned();
    let items = warnings["items"].as_array().unwrap().iter();
    let mut open: Vec<_> =
        items.map(|it| (text(it, "kind"), text(it, "subject"), text(it, "severity"))).collect();
    open.sort();
    open
}

async fn looks(line: &Line) -> Vec<(String, String, String)> {
    ambient_check(&line.app.worker, line.project).await.unwrap();
    open(line).await
}

fn told(kind: &str, subject: &str, severity: &str) -> (String, String, String) {
    (kind.to_owned(), subject.to_owned(), severity.to_owned())
}

fn read_now(line: &Line, air_c: f64, steel_c: f64) -> Value {
    json!({
        "id": Uuid::now_v7(), "spread": "A", "read_at": line.app.now(), "air_c": air_c,
        "relative_humidity_percent": 50.0, "steel_c": steel_c,
    })
}

#[actix_web::test]
async fn limits_broken_where_work_goes_on_are_told_until_they_hold_again() {
    let line = site().await;
    line.adds_joints("S1", "J", 1).await;
    // It is minute 600; the crew primed ten minutes ago.
    line.crew.records("J-1", &fact::primed(590)).await.expect(201);
    records(&line.inspector, &read_now(&line, 20.0, 10.0)).await.expect(201);
    let seen = looks(&line).await;
    assert_eq!(seen, [told("conditions_out_of_limits", "A", "urgent")]);
    // Looked at again, nothing is new.
    let history = "SELECT count(*) FROM warning_history";
    let before = line.app.count(history).await;
    assert_eq!(looks(&line).await, seen);
    assert_eq!(line.app.count(history).await, before);

    line.waits(TimeDelta::minutes(30));
    records(&line.inspector, &read_now(&line, 20.0, 22.0)).await.expect(201);
    assert_eq!(looks(&line).await, []);
}

#[actix_web::test]
async fn a_crew_at_work_without_a_reading_is_told_until_somebody_reads() {
    let line = site().await;
    line.adds_joints("S1", "J", 1).await;
    line.crew.records("J-1", &fact::primed(590).without("ambient")).await.expect(201);
    assert_eq!(looks(&line).await, [told("no_ambient_reading", "A", "notice")]);
    records(&line.inspector, &read_now(&line, 20.0, 22.0)).await.expect(201);
    assert_eq!(looks(&line).await, []);
}

#[actix_web::test]
async fn a_store_out_of_its_temperatures_names_its_lots() {
    let line = site().await;
    let material = json!({ "code": "INNER", "name": "Inner tape", "storage_max_c": 35.0 });
    let path = line.admin.path("/stock/materials/INNER");
    let mut version = line.admin.gets("/stock/materials/INNER").await.expect(200);
    let version = version["version"].take();
    let request = actix_web::test::TestRequest::put()
        .uri(&path)
        .insert_header(("authorization", format!("Bearer {}", line.admin.token().await)))
        .insert_header(("if-match", format!("\"v{version}\"")))
        .set_json(&material);
    line.app.call(request).await.expect(200);
    let receipt = json!({
        "id": Uuid::now_v7(), "kind": "receive", "occurred_at": line.app.now(), "lot": "L-INNER",
        "quantity": 10, "from": "supplier", "to": "YARD",
    });
    line.materials.posts("/stock/movements", receipt).await.expect(201);
    let hot = |air_c: f64| {
        json!({ "id": Uuid::now_v7(), "location": "YARD", "read_at": line.app.now(),
                "air_c": air_c })
    };
    records(&line.materials, &hot(35.0)).await.expect(201);
    assert_eq!(looks(&line).await, []);
    line.waits(TimeDelta::minutes(1));
    let too_hot = hot(35.5);
    records(&line.materials, &too_hot).await.expect(201);
    assert_eq!(looks(&line).await, [told("storage_out_of_limits", "YARD", "urgent")]);
    let warnings = line.coordinator.gets("/warnings").await.expect(200);
    assert_eq!(warnings["items"][0]["values"]["lots"], json!(["L-INNER"]));
    // The thermometer hung in the sun: what was read before speaks again.
    let away = json!({
        "id": Uuid::now_v7(), "location": "YARD", "read_at": line.app.now(),
        "supersedes": too_hot["id"], "reason": "it hung in the sun",
    });
    records(&line.materials, &away).await.expect(201);
    assert_eq!(looks(&line).await, []);
}

/// The line, where primer stays open for 8 hours, with one joint primed at the clock's minute 590.
async fn primed() -> Line {
    let line = Line::with_joints(1).await;
    let primer = line.admin.gets("/stock/materials/PRIMER").await.expect(200);
    let body = json!({ "code": "PRIMER", "name": "Primer", "open_time_min": 480 });
    let request = actix_web::test::TestRequest::put()
        .uri(&line.admin.path("/stock/materials/PRIMER"))
        .insert_header(("authorization", format!("Bearer {}", line.admin.token().await)))
        .insert_header(("if-match", format!("\"v{}\"", primer["version"])))
        .set_json(&body);
    line.app.call(request).await.expect(200);
    let facts =
        [fact::welded(560), fact::weld_accepted(570), fact::prepared(580), fact::primed(590)];
    line.inspector.records_all("J-1", &facts).await;
    line
}

/// A tick of the schedule, and what it asked for, worked off by a worker that has just started.
async fn tick(line: &Line) -> Vec<(String, String, String)> {
    let worker = app::App::for_work(
        line.app.database.worker.clone(),
        std::sync::Arc::clone(&line.app.clock) as _,
    );
    ask_clocks(&worker, line.app.now()).await.unwrap();
    primer_clock(&worker, line.project).await.unwrap();
    open(line).await
}

#[actix_web::test]
async fn an_open_time_is_warned_of_once_before_its_end_and_ends_with_the_wrap() {
    let line = primed().await;
    let raised = "SELECT count(*) FROM warning_history WHERE action = 'raised'";
    assert_eq!(tick(&line).await, []);
    // Minute 1,039 of the day; the open time ends at minute 1,070.
    line.waits(TimeDelta::minutes(439));
    assert_eq!(tick(&line).await, []);
    for _ in 0..3 {
        line.waits(TimeDelta::minutes(1));
        assert_eq!(tick(&line).await, [told("next_layer_due", "J-1", "notice")]);
    }
    assert_eq!(line.app.count(raised).await, 1, "once, over three workers");
    line.crew.records("J-1", &fact::wrapped_inner(1_042)).await.expect(201);
    assert_eq!(tick(&line).await, []);
}

#[actix_web::test]
async fn a_primer_that_has_waited_too_long_is_urgent_until_it_is_primed_again() {
    let line = primed().await;
    line.waits(TimeDelta::minutes(470));
    assert_eq!(tick(&line).await, [told("next_layer_due", "J-1", "notice")]);
    line.waits(TimeDelta::minutes(1));
    assert_eq!(tick(&line).await, [told("next_layer_due", "J-1", "urgent")]);
    let warnings = line.coordinator.gets("/warnings").await.expect(200);
    let detail = warnings["items"][0]["detail"].as_str().unwrap();
    assert!(detail.ends_with("prime it again"), "{detail}");
    line.crew.records("J-1", &fact::primed(1_071)).await.expect(201);
    assert_eq!(tick(&line).await, []);
}

#[actix_web::test]
async fn where_no_clock_runs_nothing_is_asked_for() {
    let line = Line::with_joints(1).await;
    assert_eq!(ask_clocks(&line.app.worker, line.app.now()).await.unwrap(), 0);
    line.crew.records("J-1", &fact::prepared(590)).await.expect(201);
    let tick = line.app.now();
    assert_eq!(ask_clocks(&line.app.worker, tick).await.unwrap(), 1);
    assert_eq!(ask_clocks(&line.app.worker, tick).await.unwrap(), 0, "the same minute");
}
