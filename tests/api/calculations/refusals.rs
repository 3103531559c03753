//! What is refused, and how.

use std::{net::SocketAddr, rc::Rc};

use actix_web::test::TestRequest;
use harness::TestApp;
use proptest::{
    prelude::*,
    test_runner::{Config, TestRunner},
};
use serde_json::{Value, json};

use super::{answer, asks, example, pointers, post, simulated, wrap};

#[actix_web::test]
async fn a_thickness_outside_the_method_is_refused_with_its_range() {
    let app = TestApp::new().await;
    let request = json!({ "coating_thickness_mm": 0.8, "method": "nace_sp0490" });
    let problem = asks(&app, "holiday-voltage", request).await.problem(422, "INVALID");
    assert_eq!(pointers(&problem), ["#/coating_thickness_mm"]);
    assert!(problem["errors"][0]["detail"].as_str().unwrap().contains("0.25 to 0.76 mm"));

    let methods = app.call(TestRequest::get().uri("/v1/calculations/holiday-voltage/methods"));
    let methods = methods.await.expect(200);
    let codes: Vec<_> =
        methods["items"].as_array().unwrap().iter().map(|it| it["method"].clone()).collect();
    assert_eq!(codes.len(), 7);
    for code in &codes {
        let mut request = json!({ "coating_thickness_mm": 0.6, "method": code });
        if code == "fixed_band" {
            request["fixed_kv"] = json!(15.0);
        }
        answer(&app, "holiday-voltage", request).await;
    }
}

#[actix_web::test]
async fn tape_wider_than_the_band_is_refused() {
    let app = TestApp::new().await;
    let refused = asks(&app, "wrap-takeoff", wrap(610.0, 100.0, 150.0, 55.0)).await;
    assert_eq!(pointers(&refused.problem(422, "INVALID")), ["#/wrapped_length_mm"]);
}

#[actix_web::test]
async fn one_request_cannot_ask_for_endless_work() {
    let app = TestApp::new().await;
    let problem = asks(&app, "run-out", simulated(10_000, 3660, 1)).await.problem(422, "INVALID");
    assert_eq!(pointers(&problem), ["#/simulation/paths"]);
    assert!(problem["errors"][0]["detail"].as_str().unwrap().contains("from 1 to 2731 paths"));

    let hour = json!({ "at": "2026-03-02T06:00:00Z", "air_c": 1, "relative_humidity_percent": 50 });
    let hours = json!({ "hours": vec![hour; 9001] });
    let problem = asks(&app, "workable-hours", hours).await.problem(422, "INVALID");
    assert_eq!(pointers(&problem), ["#/hours"]);
    assert_eq!(problem["errors"][0]["code"], "TOO_MANY");
}

#[actix_web::test]
async fn every_fault_is_named_at_once_and_unknown_fields_too() {
    let app = TestApp::new().await;
    let request = json!({
        "outside_diameter_mm": 0, "wrapped_length_mm": "long", "roll_width_mm": -5,
        "overlap_percent": 100, "colour": "blue",
    });
    let problem = asks(&app, "wrap-takeoff", request).await.problem(422, "INVALID");
    let mut named = pointers(&problem);
    named.sort_unstable();
    let expected = [
        "#/colour",
        "#/outside_diameter_mm",
        "#/overlap_percent",
        "#/roll_length_m",
        "#/roll_width_mm",
        "#/wrapped_length_mm",
    ];
    assert_eq!(named, expected);
    let mut errors = problem["errors"].as_array().unwrap().iter();
    let overlap = errors.find(|it| it["pointer"] == "#/overlap_percent").unwrap();
    assert!(overlap["detail"].as_str().unwrap().ends_with("at least 0 and under 100"), "{overlap}");
}

#[actix_web::test]
async fn numbers_beyond_all_numbers_are_not_read() {
    let app = TestApp::new().await;
    for number in ["1e999", "-1e999", "NaN", "Infinity"] {
        let body = format!(r#"{{"air_c": {number}, "relative_humidity_percent": 50}}"#);
        let request = post("dew-point").insert_header(("content-type", "application/json"));
        app.call(request.set_payload(body)).await.problem(400, "UNREADABLE");
    }
}

#[actix_web::test]
async fn an_address_that_asks_too_often_is_told_when_to_come_back() {
    let app = TestApp::new().await;
    let from = |address: &str| {
        let peer: SocketAddr = address.parse().unwrap();
        TestRequest::get().uri("/v1/calculations/pipe-sizes").peer_addr(peer)
    };
    let mut refused = None;
    for _ in 0..1000 {
        let answer = app.call(from("192.0.2.1:40000")).await;
        if answer.status != 200 {
            refused = Some(answer);
            break;
        }
    }
    let refused = refused.unwrap();
    let wait: u64 = refused.header("retry-after").parse().unwrap();
    assert!((1..=60).contains(&wait), "{wait}");
    refused.problem(429, "TOO_MANY_REQUESTS");
    // Not by another port, but for another address.
    assert_eq!(app.call(from("192.0.2.1:40001")).await.status, 429);
    app.call(from("192.0.2.2:40000")).await.expect(200);
}

const NAMES: [&str; 12] = [
    "wrap-takeoff",
    "overlap",
    "system-takeoff",
    "holiday-voltage",
    "dew-point",
    "conditions",
    "workable-hours",
    "run-out",
    "reorder-point",
    "control-limits",
    "proportion-interval",
    "applied-cost",
];

/// Anything that JSON can hold.
fn anything() -> impl Strategy<Value = Value> {
    let leaf = prop_oneof![
        3 => any::<f64>().prop_map(|it| json!(it)),
        3 => (-200.0..2000.0f64).prop_map(|it| json!(it)),
        1 => any::<i64>().prop_map(|it| json!(it)),
        1 => Just(Value::Null),
        1 => any::<bool>().prop_map(Value::Bool),
        1 => "\\PC{0,12}".prop_map(Value::String),
    ];
    leaf.prop_recursive(3, 24, 5, |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..5).prop_map(Value::Array),
            prop::collection::btree_map("[a-z_]{1,8}", inner, 0..5)
                .prop_map(|fields| Value::Object(fields.into_iter().collect())),
        ]
    })
}

#[test]
fn whatever_is_sent_is_answered_or_refused_with_reasons() {
    let runtime = actix_web::rt::Runtime::new().unwrap();
    let app: Rc<TestApp> = runtime.block_on(TestApp::new());
    let examples = NAMES.map(example);
    let place = any::<prop::sample::Index>();
    let changed = prop::collection::vec((place, anything()), 0..4);
    let whole = prop::option::weighted(0.2, anything());
    let config = Config { cases: 400, failure_persistence: None, ..Config::default() };
    let result = TestRunner::new(config).run(&(0..NAMES.len(), whole, changed), |sent| {
        let (which, whole, changed) = sent;
        let mut request = whole.unwrap_or_else(|| examples[which].clone());
        for (place, value) in changed {
            if let Some(fields) = request.as_object_mut().filter(|it| !it.is_empty()) {
                let name = place.get(&fields.keys().cloned().collect::<Vec<_>>()).clone();
                fields.insert(name, value);
            }
        }
        let answer = runtime.block_on(asks(&app, NAMES[which], request));
        match answer.status {
            200 => prop_assert!(answer.body.is_object()),
            422 => {
                let errors = answer.body["errors"].as_array().unwrap();
                prop_assert!(!errors.is_empty());
                for error in errors {
                    prop_assert!(error["pointer"].as_str().unwrap().starts_with('#'));
                    prop_assert!(!error["code"].as_str().unwrap().is_empty());
                    prop_assert!(!error["detail"].as_str().unwrap().is_empty());
                }
            }
            other => prop_assert!(false, "{other}: {:#}", answer.body),
        }
        Ok(())
    });
    result.unwrap();
}
