//! What a joint, a section and the project will consume.

use actix_web::http::Method;
use harness::{
    Line,
    fact::{coating, welded},
};
use serde_json::{Value, json};

/// A section `S3` whose tape has a roll in the set-up, with ten joints.
async fn line() -> Line {
    let line = Line::with_joints(2).await;
    let put = async |kind: &str, code: &str, mut body: Value| {
        body["code"] = json!(code);
        let path = line.admin.path(&format!("/{kind}/{code}"));
        line.admin.asks(Method::PUT, &path, Some(body)).await.expect(201);
    };
    let roll = json!({ "roll_width_mm": 100.0, "roll_length_m": 15.0, "thickness_mm": 0.8 });
    put("stock/materials", "ROLL", json!({ "name": "Inner tape", "tape": roll })).await;
    let layers = json!([
        { "role": "inner_wrap", "material": "ROLL", "thickness_mm": 1.6, "overlap_percent": 55.0 },
    ]);
    let system = json!({ "name": "Tape", "surface_grade": "St 3", "layers": layers });
    put("coating-systems", "KNOWN", system).await;
    let section = json!({
        "name": "Section", "kp_from_km": 500.0, "kp_to_km": 600.0, "line_pipe": "DN500",
        "coating_system": "KNOWN", "spread": "A", "inspection_plan": "ITP-1",
        "backfill": "screened", "design_temperature_c": 40.0,
    });
    put("sections", "S3", section).await;
    line.adds_joints("S3", "K", 10).await;
    line
}

#[actix_web::test]
async fn a_section_takes_what_its_joints_take() {
    let line = line().await;
    let joint = line.materials.gets("/joints/K-1/takeoff").await.expect(200);
    let section = line.materials.gets("/takeoff?section=S3").await.expect(200);

    let tape = joint["layers"][0]["tape_m"].as_f64().unwrap();
    let sum = &section["all"]["materials"][0];
    assert_eq!((&sum["material"], &section["all"]["joints"]), (&json!("ROLL"), &json!(10)));
    assert!((sum["tape_m"].as_f64().unwrap() - 10.0 * tape).abs() < 1e-6, "{section:#} {tape}");
    // One joint takes 14.6 m of 15 m: its remnant is too short for another one.
    assert_eq!((&sum["rolls_whole"], &sum["rolls_spliced"]), (&json!(10), &json!(10)));
}

#[actix_web::test]
async fn the_project_names_what_is_not_in_its_sums() {
    let line = line().await;
    let project = line.coordinator.gets("/takeoff").await.expect(200);
    assert_eq!(
        (&project["all"]["joints"], &project["all"]["joints_unknown"]),
        (&12.into(), &2.into())
    );
    let unknown = project["all"]["unknown"].as_array().unwrap();
    assert!(
        unknown.iter().any(|it| it["detail"].as_str().unwrap().contains("INNER")),
        "{unknown:?}"
    );
    line.client.gets("/takeoff?section=S9").await.problem(404, "NOT_FOUND");
}

#[actix_web::test]
async fn joints_that_are_wrapped_or_cut_out_are_not_to_be_wrapped() {
    let line = line().await;
    line.records("K-1", &[welded(0)]).await;
    line.records("K-2", &[welded(0), harness::Fact::new("cut_out", 5, json!({}))]).await;
    line.records("J-1", &coating()).await;
    let project = line.coordinator.gets("/takeoff").await.expect(200);
    assert_eq!(
        (&project["all"]["joints"], &project["to_wrap"]["joints"]),
        (&11.into(), &10.into())
    );
}
