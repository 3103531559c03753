//! The calculators, asked over HTTP by whoever comes along.

mod refusals;
mod values;

use actix_web::test::TestRequest;
use harness::{TestApp, app::Answer};
use serde_json::{Value, json};

fn post(name: &str) -> TestRequest {
    TestRequest::post().uri(&format!("/v1/calculations/{name}"))
}

async fn asks(app: &TestApp, name: &str, request: Value) -> Answer {
    app.call(post(name).set_json(request)).await
}

async fn answer(app: &TestApp, name: &str, request: Value) -> Value {
    asks(app, name, request).await.expect(200)
}

#[track_caller]
fn close(answer: &Value, field: &str, expected: f64, tolerance: f64) {
    let found = answer[field].as_f64().unwrap();
    assert!((found - expected).abs() <= tolerance, "{field}: {found}, expected {expected}");
}

/// The pointers of a refusal.
fn pointers(problem: &Value) -> Vec<&str> {
    let errors = problem["errors"].as_array().unwrap().iter();
    errors.map(|it| it["pointer"].as_str().unwrap()).collect()
}

fn wrap(diameter: f64, length: f64, width: f64, overlap: f64) -> Value {
    json!({
        "outside_diameter_mm": diameter, "wrapped_length_mm": length, "roll_width_mm": width,
        "roll_length_m": 15.0, "overlap_percent": overlap,
    })
}

fn simulated(paths: u64, days: u64, seed: u64) -> Value {
    json!({
        "start_on": "2026-03-02", "days": days,
        "lots": [{ "lot": "A", "quantity": 100.0, "expires_on": null }],
        "deliveries": [{ "on": "2026-03-10", "quantity": 50.0, "expires_on": null }],
        "simulation": {
            "production": [5, 5, 5], "quantity_per_unit": 2, "paths": paths, "seed": seed,
        },
    })
}

/// The examples of the published description are the valid requests of these tests.
fn example(name: &str) -> Value {
    let document: Value = serde_json::from_str(&api::openapi_json()).unwrap();
    let operation = &document["paths"][format!("/v1/calculations/{name}")]["post"];
    let schema = &operation["requestBody"]["content"]["application/json"]["schema"]["$ref"];
    let pointer = schema.as_str().unwrap().trim_start_matches('#').to_owned();
    document.pointer(&pointer).unwrap()["example"].clone()
}
