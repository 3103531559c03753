//! A request that anybody may send asks for a bounded amount of work, and the ends are named.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

use calculators::ALL;
use domain::schema::FieldError;
use serde_json::{Value, json};

fn answered(name: &str, request: &Value) -> Result<String, Vec<FieldError>> {
    let calculator = ALL.iter().find(|it| it.name == name).unwrap();
    (calculator.answer)(request)
}

/// Pointer, code and detail of the only fault.
fn refused(name: &str, request: &Value) -> (String, String, String) {
    let faults = answered(name, request).unwrap_err();
    assert_eq!(faults.len(), 1, "{faults:?}");
    let fault = faults.into_iter().next().unwrap();
    (fault.pointer, fault.code.clone(), fault.detail)
}

fn simulation(paths: u64, deliveries: usize) -> Value {
    let delivery = json!({ "on": "2026-03-03", "quantity": 1.0, "expires_on": null });
    json!({
        "start_on": "2026-03-02", "days": 1000,
        "deliveries": vec![delivery; deliveries],
        "simulation": { "production": [4.0], "quantity_per_unit": 1.0, "paths": paths, "seed": 1 },
    })
}

#[test]
fn deliveries_count_as_work_of_a_simulation() {
    // 10 000 paths of 1000 days are the limit; with 1000 deliveries 5000 paths are.
    assert!(answered("run-out", &simulation(10_000, 0)).is_ok());
    let (pointer, code, detail) = refused("run-out", &simulation(5001, 1000));
    assert_eq!((pointer.as_str(), code.as_str()), ("#/simulation/paths", "OUT_OF_RANGE"));
    assert!(detail.contains("1000 deliveries") && detail.contains("from 1 to 5000"), "{detail}");
    assert!(answered("run-out", &simulation(5000, 1000)).is_ok());
}

fn comparison(joints: u64, candidates: usize, wraps: usize) -> Value {
    let calculator = ALL.iter().find(|it| it.name == "applied-cost").unwrap();
    let document = (calculator.request)();
    let mut request =
        document.pointer("/components/schemas/AppliedCostRequest/example").unwrap().clone();
    let mut candidate = request["candidates"][0].clone();
    let wrap = candidate["layers"][0].clone();
    candidate["layers"] = json!(vec![wrap; wraps]);
    candidate["tape_prices_per_m2"] = json!(vec![9.0; wraps]);
    request["candidates"] = json!(vec![candidate; candidates]);
    request["joints"] = json!(joints);
    request
}

#[test]
fn joints_times_the_wraps_of_all_candidates_are_bounded() {
    // 20 000 000 wraps: 20 candidates of 20 wraps on 50 000 joints, and not one joint more.
    let (pointer, code, detail) = refused("applied-cost", &comparison(50_001, 20, 20));
    assert_eq!((pointer.as_str(), code.as_str()), ("#/joints", "OUT_OF_RANGE"));
    assert!(detail.contains("400 wraps") && detail.contains("from 1 to 50000"), "{detail}");
    let (pointer, ..) = refused("applied-cost", &comparison(100_000, 50, 20));
    assert_eq!(pointer, "#/joints");
    assert!(answered("applied-cost", &comparison(100_000, 2, 2)).is_ok());
}

#[test]
fn the_most_joints_are_named_by_the_schema() {
    let (pointer, code, detail) = refused("applied-cost", &comparison(100_001, 1, 1));
    assert_eq!((pointer.as_str(), code.as_str()), ("#/joints", "OUT_OF_RANGE"));
    assert!(detail.contains("100000"), "{detail}");
}
