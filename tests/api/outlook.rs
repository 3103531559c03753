//! What becomes of the stock, and that somebody is told in time.

use actix_web::{http::Method, test::TestRequest};
use app::outlook::stock_check;
use chrono::{TimeDelta, Utc};
use harness::{
    Line,
    actor::Person,
    app::{Answer, texts},
};
use serde_json::{Value, json};
use uuid::Uuid;

/// Ten joints of a section `S3` whose tape has a roll in the set-up; one yard; 40 m of tape in two
/// lots; the plan: two joints a day from today.
async fn line() -> Line {
    let line = Line::new().await;
    let put = async |path: &str, code: &str, mut body: Value| {
        body["code"] = json!(code);
        let path = line.admin.path(&format!("/{path}/{code}"));
        line.admin.asks(Method::PUT, &path, Some(body)).await.expect(201);
    };
    let roll = json!({ "roll_width_mm": 100.0, "roll_length_m": 15.0, "thickness_mm": 0.8 });
    let material = json!({
        "name": "Inner tape", "tape": roll, "lead_time_days": 10, "safety_days": 2,
        "pack_quantity": 45, "unit_cost": 2.5,
    });
    put("stock/materials", "ROLL", material).await;
    let today = line.app.now().date_naive();
    let soon = today + TimeDelta::days(3);
    put("stock/lots", "R-1", json!({ "material": "ROLL", "expires_on": soon })).await;
    put("stock/lots", "R-2", json!({ "material": "ROLL" })).await;
    let layers = json!([
        { "role": "inner_wrap", "material": "ROLL", "thickness_mm": 1.6, "overlap_percent": 55.0 },
    ]);
    put(
        "coating-systems",
        "KNOWN",
        json!({
            "name": "Tape", "surface_grade": "St 3", "layers": layers,
        }),
    )
    .await;
    put(
        "sections",
        "S3",
        json!({
            "name": "Section", "kp_from_km": 500.0, "kp_to_km": 600.0, "line_pipe": "DN500",
            "coating_system": "KNOWN", "spread": "A", "inspection_plan": "ITP-1",
            "backfill": "screened", "design_temperature_c": 40.0,
        }),
    )
    .await;
    put("stock/locations", "YARD", json!({ "name": "Yard", "kind": "yard" })).await;
    line.adds_joints("S3", "K", 10).await;
    for (lot, metres) in [("R-1", 100.0), ("R-2", 20.0)] {
        receives(&line, lot, metres).await.expect(201);
    }
    let every_day = json!({ "weekdays":
        ["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"] });
    line.coordinator.puts("/calendar", every_day).await.expect(201);
    line.coordinator.puts("/plan", plan(&line, 2.0)).await.expect(201);
    line
}

fn plan(line: &Line, joints_per_day: f64) -> Value {
    let today = line.app.now().date_naive();
    json!({ "lines": [{
        "spread": "A", "section": "S3", "from": today, "to": today + TimeDelta::days(60),
        "joints_per_day": joints_per_day,
    }] })
}

async fn receives(line: &Line, lot: &str, metres: f64) -> Answer {
    let movement = json!({
        "id": Uuid::now_v7(), "kind": "receive", "occurred_at": line.app.now(), "lot": lot,
        "quantity": metres, "to": "YARD",
    });
    line.materials.posts("/stock/movements", movement).await
}

async fn delivery(line: &Line, metres: f64, in_days: i64) -> Value {
    let on = line.app.now().date_naive() + TimeDelta::days(in_days);
    let body = json!({
        "id": Uuid::now_v7(), "material": "ROLL", "quantity": metres, "expected_on": on,
    });
    line.materials.posts("/stock/deliveries", body).await.expect(201)
}

async fn outlook(who: &Person, query: &str) -> Value {
    who.gets(&format!("/stock/outlook{query}")).await.expect(200)
}

fn of<'a>(outlook: &'a Value, code: &str) -> &'a Value {
    let materials = outlook["materials"].as_array().unwrap();
    materials.iter().find(|it| it["material"] == code).unwrap()
}

#[actix_web::test]
async fn tape_runs_out_when_the_plan_has_eaten_it() {
    let line = line().await;
    // A joint takes 14.6 m, so the plan eats 29 m a day for five days, 146 m of the 120 m that are
    // there. Of the lot that may be used until the fourth day, all is used by then.
    delivery(&line, 90.0, 6).await;
    let seen = outlook(&line.materials, "?days=30").await;
    let tape = of(&seen, "ROLL");
    let day = |offset| json!(line.app.now().date_naive() + TimeDelta::days(offset));
    assert_eq!(seen["basis"], "plan");
    assert_eq!(
        (&tape["on_hand"], &tape["on_order"], &tape["unit"]),
        (&json!(120.0), &json!(90.0), &json!("m"))
    );
    assert_eq!(tape["run_out_on"], day(4));
    assert_eq!(tape["days_of_cover"], 4);
    assert_eq!(tape["order_by"], day(4 - 12));
    assert_eq!(tape["next_delivery_on"], day(6));
    assert_eq!(tape["order_quantity"], 45.0);
    // Nothing was made yet, so nothing can be drawn.
    assert_eq!(tape["p50"], Value::Null);
    assert_eq!(seen["joints_left"], 10.0);
}

#[actix_web::test]
async fn the_outlook_is_what_the_calculator_says_of_its_inputs() {
    let line = line().await;
    line.records("K-1", &harness::fact::coating()).await;
    line.records("K-2", &harness::fact::coating()).await;
    line.waits(TimeDelta::days(1));
    delivery(&line, 30.0, 2).await;
    let seen = outlook(&line.materials, "?days=60&detail=true").await;
    let tape = of(&seen, "ROLL");
    let inputs = tape["inputs"].clone();
    assert!(inputs["simulation"].is_object(), "{inputs:#}");
    let path = "/v1/calculations/run-out";
    let said = line.materials.asks(Method::POST, path, Some(inputs)).await.expect(200);
    for field in ["run_out_on", "days_of_cover", "shortage", "order_by"] {
        assert_eq!(said[field], tape[field], "{field}");
    }
    assert_eq!(said["on_hand"], tape["on_hand_by_day"]);
    for field in ["p10", "p50", "p90", "next_delivery_on", "dry_before_next_delivery_chance"] {
        assert_eq!(said["simulation"][field], tape[field], "{field}");
    }
}

#[actix_web::test]
async fn what_if_is_only_looked_at() {
    let line = line().await;
    let delivery = delivery(&line, 90.0, 3).await;
    let before = outlook(&line.materials, "").await;
    assert_eq!(of(&before, "ROLL")["run_out_on"], Value::Null);
    let late = json!([{ "change": "delivery_late", "delivery": delivery["id"], "days": 20 }]);
    let seen = line.materials.gets(&format!("/stock/outlook?what_if={}", encoded(&late))).await;
    assert!(of(&seen.expect(200), "ROLL")["run_out_on"].is_string());
    let slower = json!([{ "change": "rate", "percent": -50 }]);
    let seen = outlook(&line.client, &format!("?what_if={}", encoded(&slower))).await;
    assert_eq!(seen["joints_by_day"][0], 1.0);
    assert_eq!(outlook(&line.materials, "").await, before);

    let unknown = json!([{ "change": "rate", "percent": 1, "spread": "Z" },
                         { "change": "days_lost", "days": 0 }]);
    let asked = line.materials.gets(&format!("/stock/outlook?what_if={}", encoded(&unknown))).await;
    asked.problem(422, "INVALID");
    line.materials.gets("/stock/outlook?what_if=rate").await.problem(400, "INVALID_PARAMETER");
    line.materials.gets("/stock/outlook?days=0").await.problem(400, "INVALID_PARAMETER");
    line.materials.gets("/stock/outlook?material=NONE").await.problem(404, "NOT_FOUND");
    line.stranger.gets("/stock/outlook").await.problem(404, "NOT_FOUND");
}

fn encoded(value: &Value) -> String {
    form_urlencoded::byte_serialize(value.to_string().as_bytes()).collect()
}

#[actix_web::test]
async fn somebody_is_warned_once_and_the_warning_ends_with_its_cause() {
    let line = line().await;
    delivery(&line, 90.0, 6).await;
    let kinds = async || {
        let listed = line.materials.gets("/warnings").await.expect(200);
        let mut kinds: Vec<String> = listed["items"]
            .as_array()
            .unwrap()
            .iter()
            .map(|it| {
                format!("{} {}", it["kind"].as_str().unwrap(), it["subject"].as_str().unwrap())
            })
            .collect();
        kinds.sort();
        kinds
    };
    let expected =
        ["lot_expires_soon R-1", "order_by ROLL", "runs_out_before_delivery ROLL", "shortage ROLL"];
    for _ in 0..3 {
        stock_check(&line.app.worker, line.project).await.unwrap();
        assert_eq!(kinds().await, expected);
    }
    let raised = "SELECT count(*) FROM warnings WHERE kind = 'order_by'";
    assert_eq!(line.app.count(raised).await, 1);
    // 60 m more, and nothing is missing any more.
    receives(&line, "R-2", 60.0).await.expect(201);
    stock_check(&line.app.worker, line.project).await.unwrap();
    assert_eq!(kinds().await, ["lot_expires_soon R-1"]);
    let open = "SELECT count(*) FROM warnings WHERE cleared_at IS NULL";
    assert_eq!(line.app.count(open).await, 1);
}

#[actix_web::test]
async fn what_moves_stock_or_plan_asks_for_a_check_that_runs_within_seconds() {
    let line = line().await;
    let asked = "SELECT count(*) FROM apalis.jobs WHERE job_type = 'stock_check'";
    let before = line.app.count(asked).await;
    assert!(before > 0, "the receipts and the plan asked for one");
    let late = "SELECT count(*) FROM apalis.jobs
                 WHERE job_type = 'stock_check' AND run_at > clock_timestamp() + interval '3 s'";
    assert_eq!(line.app.count(late).await, 0);
}

#[actix_web::test]
async fn each_morning_is_looked_at_once() {
    let line = line().await;
    let keyed = "SELECT count(*) FROM apalis.jobs
                  WHERE job_type = 'stock_check' AND idempotency_key ~ '-[0-9]{2}$'";
    let worker = &line.app.worker;
    let midnight = line.app.now().date_naive().and_time(chrono::NaiveTime::MIN).and_utc();
    for hour in 0..48 {
        let tick = midnight + TimeDelta::hours(hour);
        for _ in 0..3 {
            app::outlook::ask_each(worker, tick.with_timezone(&Utc)).await.unwrap();
        }
    }
    // Two projects, two mornings.
    assert_eq!(line.app.count(keyed).await, 4);
}

#[actix_web::test]
async fn a_plan_is_put_by_form_or_file_and_changes_only_as_it_was_seen() {
    let line = line().await;
    let read = line.client.gets("/plan").await;
    assert_eq!(read.header("etag"), "\"v1\"");
    assert_eq!(read.expect(200)["lines"][0]["joints_per_day"], 2.0);
    line.coordinator.puts("/plan", plan(&line, 3.0)).await.problem(428, "IF_MATCH_REQUIRED");
    line.materials.puts("/plan", plan(&line, 3.0)).await.problem(403, "FORBIDDEN");

    let file = "spread,section,from,to,joints_per_day\nA,S3,2026-07-01,2026-07-31,4\n";
    let upload = async |file: &'static str, seen: &'static str| {
        let request = TestRequest::put()
            .uri(&line.coordinator.path("/plan.csv"))
            .insert_header(("authorization", format!("Bearer {}", line.coordinator.token().await)))
            .insert_header(("content-type", "text/csv"))
            .insert_header(("if-match", seen))
            .set_payload(file);
        line.app.call(request).await
    };
    upload(file, "\"v9\"").await.problem(412, "VERSION_IS_STALE");
    let plan = upload(file, "\"v1\"").await.expect(200);
    assert_eq!((&plan["version"], &plan["lines"][0]["joints_per_day"]), (&json!(2), &json!(4.0)));

    let wrong = "spread,section,from,to,joints_per_day\nA,S3,July,2026-07-31,4\nA,S3,2026-08-01,2026-08-02,-1\n";
    let refused = upload(wrong, "\"v2\"").await.problem(422, "INVALID");
    let pointers = texts(&refused["errors"], "pointer");
    assert_eq!(pointers, ["#/rows/2/from", "#/rows/3/joints_per_day"]);
    let unknown = "spread,section,from,to,joints_per_day\nZ,S3,2026-07-01,2026-07-31,4\n";
    let refused = upload(unknown, "\"v2\"").await.problem(422, "INVALID");
    assert_eq!(texts(&refused["errors"], "pointer"), ["#/lines/0/spread"]);
    assert_eq!(line.client.gets("/plan").await.expect(200)["version"], 2);
}

#[actix_web::test]
async fn what_was_made_stands_beside_the_plan() {
    let line = line().await;
    for joint in ["K-1", "K-2", "K-3"] {
        line.records(joint, &harness::fact::coating()).await;
    }
    let progress = line.client.gets("/plan/progress").await.expect(200);
    let spread = &progress["spreads"][0];
    assert_eq!(
        (&spread["spread"], &spread["planned"], &spread["made"]),
        (&json!("A"), &json!(2.0), &json!(3.0))
    );
    // Today is not over, so nothing is learnt from it yet.
    assert_eq!(spread["rate"], Value::Null);
    line.waits(TimeDelta::days(1));
    let progress = line.client.gets("/plan/progress").await.expect(200);
    assert_eq!(progress["spreads"][0]["rate"]["joints_per_day"], 3.0);
}
