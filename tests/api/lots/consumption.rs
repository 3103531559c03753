//! What facts take from stock: once each, whatever happens meanwhile.

use std::time::Duration;

use actix_web::{http::Method, test::TestRequest};
use app::stock::{PostedConsumption, post_consumption};
use harness::{
    Line, Person, TestApp,
    fact::{primed, wrapped_inner, wrapped_outer},
    minute,
};
use serde_json::{Value, json};
use tokio::sync::oneshot;

/// The line whose inner tape comes on rolls and whose primer in tins, with a yard and the place of
/// crew `A1`, which has 500 m of `L-INNER`.
async fn line_with_stock(joints: u32) -> Line {
    let line = Line::with_joints(joints).await;
    let tape = json!({ "code": "INNER", "name": "Inner tape",
        "tape": { "roll_width_mm": 100, "roll_length_m": 60, "thickness_mm": 1.0 } });
    replaces(&line, "/stock/materials/INNER", tape).await;
    let primer = json!({ "code": "PRIMER", "name": "Primer",
        "primer": { "coverage_m2_per_l": 8.0 } });
    replaces(&line, "/stock/materials/PRIMER", primer).await;
    for place in [
        json!({ "code": "YARD", "name": "Yard", "kind": "yard" }),
        json!({ "code": "CREW-A1", "name": "Crew A1", "kind": "crew", "crew": "A1" }),
    ] {
        line.materials.posts("/stock/locations", place).await.expect(201);
    }
    moves(&line, "receive", "L-INNER", 1000.0, ("supplier", "YARD")).await;
    moves(&line, "issue", "L-INNER", 500.0, ("YARD", "CREW-A1")).await;
    line
}

async fn replaces(line: &Line, rest: &str, item: Value) {
    let request = TestRequest::put()
        .uri(&line.materials.path(rest))
        .insert_header(("authorization", format!("Bearer {}", line.materials.token().await)))
        .insert_header(("if-match", "\"v1\""))
        .set_json(item);
    line.app.call(request).await.expect(200);
}

async fn moves(line: &Line, kind: &str, lot: &str, quantity: f64, (from, to): (&str, &str)) {
    let movement = json!({
        "id": app::new_id(line.app.now()), "kind": kind, "occurred_at": minute(0), "lot": lot,
        "quantity": quantity, "from": from, "to": to,
    });
    line.materials.posts("/stock/movements", movement).await.expect(201);
}

async fn posts(app: &TestApp, line: &Line) -> PostedConsumption {
    post_consumption(&app.worker, line.project).await.unwrap()
}

/// What a place holds of a lot.
async fn held(person: &Person, location: &str, lot: &str) -> f64 {
    let path = format!("/stock/balances?location={location}&lot={lot}");
    let found = person.gets(&path).await.expect(200);
    found["items"][0]["quantity"].as_f64().unwrap_or(0.0)
}

/// Metres of inner tape that a joint takes, to the millimetre.
async fn inner_need(line: &Line) -> f64 {
    let need = line.client.gets("/joints/J-1/takeoff").await.expect(200);
    let layers = need["layers"].as_array().unwrap();
    let inner = layers.iter().find(|it| it["role"] == "inner_wrap").unwrap();
    (inner["tape_m"].as_f64().unwrap() * 1000.0).round() / 1000.0
}

fn same(one: f64, other: f64) -> bool {
    (one - other).abs() < 1e-6
}

const DUE: &str = "SELECT count(*) FROM consumption_due";
const WARNED: &str = "SELECT count(*) FROM warnings WHERE kind = 'consumption_without_lot'
    AND subject = 'A1' AND cleared_at IS NULL";

#[actix_web::test]
async fn a_wrap_takes_from_the_crew_what_its_take_off_gives() {
    let line = line_with_stock(1).await;
    let need = inner_need(&line).await;
    line.crew.records("J-1", &wrapped_inner(40)).await.expect(201);
    assert!(same(held(&line.client, "CREW-A1", "L-INNER").await, 500.0), "not in the request");

    let done = posts(&line.app, &line).await;

    assert_eq!((done.facts, done.taken), (1, 1));
    assert!(same(held(&line.client, "CREW-A1", "L-INNER").await, 500.0 - need));
    assert!(same(held(&line.client, "joint", "L-INNER").await, need));
    let made = line.client.gets("/joints/J-1/materials").await.expect(200);
    let lot = &made["facts"][0]["lots"][0];
    assert_eq!((&lot["source"], &lot["unit"]), (&json!("backflushed"), &json!("m")), "{made:#}");
    assert!(same(lot["quantity"].as_f64().unwrap(), need));
    let traced = line.client.gets("/stock/lots/L-INNER/trace").await.expect(200);
    let stock = harness::app::texts(&traced["stock"], "location");
    assert_eq!(stock, ["CREW-A1", "YARD"], "where the rest of it is: {traced:#}");
    assert_eq!(posts(&line.app, &line).await, PostedConsumption::default());
    assert_eq!(line.app.count(DUE).await, 0);
}

#[actix_web::test]
async fn what_the_crew_says_goes_before_the_plan_and_is_never_refused() {
    let line = line_with_stock(1).await;
    let says = wrapped_inner(40).with("quantities", json!({ "L-INNER": 620.5 }));
    line.crew.records("J-1", &says).await.expect(201);

    posts(&line.app, &line).await;

    assert!(same(held(&line.client, "CREW-A1", "L-INNER").await, 0.0));
    assert!(same(held(&line.client, "unrecorded", "L-INNER").await, -120.5));
    let made = line.client.gets("/joints/J-1/materials").await.expect(200);
    let lot = &made["facts"][0]["lots"][0];
    assert_eq!((&lot["quantity"], &lot["source"]), (&json!(620.5), &json!("recorded")));
}

#[actix_web::test]
async fn a_correction_gives_back_what_was_taken_wrongly() {
    let line = line_with_stock(2).await;
    let wrong = wrapped_inner(40).with("quantities", json!({ "L-INNER": 60.0 }));
    let right = wrapped_inner(40).with("quantities", json!({ "L-INNER": 6.0 }));
    let right = right.instead_of(&wrong);
    line.inspector.records("J-1", &wrong).await.expect(201);
    posts(&line.app, &line).await;
    assert!(same(held(&line.client, "CREW-A1", "L-INNER").await, 440.0));
    line.inspector.records("J-1", &right).await.expect(201);
    let done = posts(&line.app, &line).await;
    assert_eq!((done.facts, done.taken, done.undone), (1, 1, 1));
    assert!(same(held(&line.client, "CREW-A1", "L-INNER").await, 494.0));

    // The correction comes first.
    let wrong = wrapped_inner(40).with("quantities", json!({ "L-INNER": 60.0 }));
    let right = wrapped_inner(40).with("quantities", json!({ "L-INNER": 6.0 }));
    let right = right.instead_of(&wrong);
    line.inspector.records("J-2", &right).await.expect(201);
    posts(&line.app, &line).await;
    line.inspector.records("J-2", &wrong).await.expect(201);
    let done = posts(&line.app, &line).await;
    assert_eq!((done.facts, done.taken, done.undone), (1, 0, 0));
    assert!(same(held(&line.client, "CREW-A1", "L-INNER").await, 488.0));
}

#[actix_web::test]
async fn where_no_lot_is_named_the_crew_used_what_it_has() {
    let line = line_with_stock(1).await;
    let need = inner_need(&line).await;
    line.crew.records("J-1", &wrapped_inner(40).with("lots", json!([]))).await.expect(201);
    posts(&line.app, &line).await;
    assert!(same(held(&line.client, "CREW-A1", "L-INNER").await, 500.0 - need));
    let made = line.client.gets("/joints/J-1/materials").await.expect(200);
    assert_eq!(made["facts"][0]["lots"][0]["source"], "assumed", "{made:#}");

    // Of the primer the crew has none.
    line.crew.records("J-1", &primed(30).with("lots", json!([]))).await.expect(201);
    let done = posts(&line.app, &line).await;
    assert_eq!((done.taken, done.without_lot), (0, 1));
    assert_eq!(line.app.count(WARNED).await, 1);
    // Nobody set up how the outer tape comes: how much it was cannot be told.
    line.crew.records("J-1", &wrapped_outer(50)).await.expect(201);
    let done = posts(&line.app, &line).await;
    assert_eq!((done.taken, done.unknown), (0, 1));
}

#[actix_web::test]
async fn facts_ask_for_their_consumption_once_in_a_burst_and_a_worker_posts_it() {
    let line = line_with_stock(3).await;
    let asked = "SELECT count(*) FROM apalis.jobs WHERE job_type = 'post_consumption'";
    for joint in ["J-1", "J-2", "J-3"] {
        line.crew.records(joint, &wrapped_inner(40)).await.expect(201);
    }
    assert_eq!(line.app.count(asked).await, 1, "within two seconds");
    line.waits(chrono::TimeDelta::seconds(2));
    line.crew.records("J-1", &primed(30)).await.expect(201);
    assert_eq!(line.app.count(asked).await, 2);

    let (stop, stopped) = oneshot::channel::<()>();
    let work = worker::run(line.app.worker.clone(), async move { drop(stopped.await) });
    let watch = async {
        let posted = async {
            while line.app.count(DUE).await > 0 {
                tokio::time::sleep(Duration::from_millis(20)).await;
            }
        };
        tokio::time::timeout(Duration::from_mins(1), posted).await.unwrap();
        stop.send(()).unwrap();
    };
    let (worked, ()) = futures_util::join!(work, watch);
    worked.unwrap();
    let need = inner_need(&line).await;
    assert!(same(held(&line.client, "CREW-A1", "L-INNER").await, 500.0 - 3.0 * need));
    line.coordinator
        .asks(Method::POST, &line.coordinator.path("/jobs/post_consumption/runs"), None)
        .await
        .expect(202);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn three_workers_some_of_whom_die_take_each_fact_once() {
    let local = tokio::task::LocalSet::new();
    Box::pin(local.run_until(workers_die())).await;
}

async fn workers_die() {
    let line = line_with_stock(20).await;
    let mut batch = Vec::new();
    for joint in 1..=20 {
        let joint = format!("J-{joint}");
        for at in 0..6 {
            let fact = wrapped_inner(40 + at).with("quantities", json!({ "L-INNER": 1.25 }));
            batch.push(fact.clone().on(&joint));
            if at == 5 {
                let less = wrapped_inner(50).with("quantities", json!({ "L-INNER": 0.25 }));
                batch.push(less.instead_of(&fact).on(&joint));
            }
        }
    }
    let sent = line.inspector.sends(batch).await;
    assert!(sent.as_array().unwrap().iter().all(|it| it["status"] == 201));

    // Workers that are stopped wherever they are after 1, 2, … ms.
    for patience in 1..25 {
        let dies = |worker: app::App, project| {
            tokio::spawn(async move {
                let work = post_consumption(&worker, project);
                let _ = tokio::time::timeout(Duration::from_millis(patience), work).await;
            })
        };
        let three = [0; 3].map(|_| dies(line.app.worker.clone(), line.project));
        for worker in three {
            worker.await.unwrap();
        }
    }
    let works = |worker: app::App, project| {
        tokio::spawn(async move { post_consumption(&worker, project).await.unwrap() })
    };
    for worker in [0; 3].map(|_| works(line.app.worker.clone(), line.project)) {
        worker.await.unwrap();
    }

    assert_eq!(line.app.count(DUE).await, 0);
    let twice = "SELECT count(*) FROM (SELECT fact_id FROM stock_movements WHERE kind = 'consume'
        GROUP BY fact_id HAVING count(*) > 1) AS twice";
    assert_eq!(line.app.count(twice).await, 0);
    // Five facts of 1.25 m and the correction of the sixth, on each of 20 joints.
    let left = 500.0 - 20.0 * (5.0 * 1.25 + 0.25);
    assert!(same(held(&line.client, "CREW-A1", "L-INNER").await, left));
    assert!(same(held(&line.client, "joint", "L-INNER").await, 500.0 - left));
}
