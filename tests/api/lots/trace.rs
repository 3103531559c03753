//! Every joint that a lot is on, and every lot of a joint.

use harness::{
    Line,
    fact::{prepared, primed, repaired, wrapped_inner},
};
use serde_json::json;

use super::{line_in_all_stages, numbers, places, traced};

#[actix_web::test]
async fn a_lot_is_traced_to_every_joint_with_its_stage() {
    let line = line_in_all_stages().await;

    let trace = traced(&line, "L-INNER").await;

    assert_eq!(places(&trace["summary"]), [3, 0, 1, 1, 1]);
    assert_eq!(places(&trace["used_in_quarantine"]), [0; 5]);
    assert_eq!(numbers(&trace), ["J-1", "J-2", "J-3"], "in the order of the line");
    let buried = &trace["items"][0];
    assert_eq!((&buried["stage"], &buried["buried"]), (&json!("backfilled"), &json!(true)));
    assert_eq!((&buried["kp"], &buried["still_on"]), (&json!("0+012"), &json!(true)));
    let used = &buried["uses"][0];
    assert_eq!((&used["kind"], &used["layer"]), (&json!("wrapped"), &json!("inner")));
    assert_eq!(used["occurred_at"], json!(harness::minute(40)));
    assert_eq!(trace["items"][1]["stage"], "released");
    assert_eq!((&trace["material"], &trace["quarantine"]), (&json!("INNER"), &json!(null)));
}

#[actix_web::test]
async fn a_corrected_entry_does_not_count_whatever_came_first() {
    let line = Line::with_joints(2).await;
    let wrong = wrapped_inner(40).with("lots", json!(["L-WRONG"]));
    let right = wrapped_inner(40).instead_of(&wrong);
    line.inspector.records_all("J-1", &[wrong.clone(), right.clone()]).await;
    assert_eq!(numbers(&traced(&line, "L-INNER").await), ["J-1"]);
    line.client.gets("/stock/lots/L-WRONG/trace").await.problem(404, "NOT_FOUND");

    // The correction comes before what it corrects.
    let wrong = wrapped_inner(40).with("lots", json!(["L-WRONG"]));
    let right = wrapped_inner(40).instead_of(&wrong);
    line.inspector.records_all("J-2", &[right, wrong]).await;
    assert_eq!(numbers(&traced(&line, "L-INNER").await), ["J-1", "J-2"]);
    line.client.gets("/stock/lots/L-WRONG/trace").await.problem(404, "NOT_FOUND");
}

#[actix_web::test]
async fn what_was_cleaned_off_is_told_apart() {
    let line = line_in_all_stages().await;
    line.inspector.records("J-3", &prepared(100)).await.expect(201);
    let trace = traced(&line, "L-OUTER").await;
    assert_eq!(places(&trace["summary"]), [3, 1, 1, 1, 0]);
    assert_eq!(trace["items"][2]["still_on"], false);
}

#[actix_web::test]
async fn a_lot_that_nobody_set_up_is_traced_as_well() {
    let line = Line::with_joints(1).await;
    let fact = wrapped_inner(40).with("lots", json!(["FROM A NEIGHBOUR", "x".repeat(3000), ""]));
    line.crew.records("J-1", &fact).await.expect(201);
    let trace = traced(&line, "FROM%20A%20NEIGHBOUR").await;
    assert_eq!((&trace["material"], places(&trace["summary"])), (&json!(null), [1, 0, 0, 0, 1]));
    line.client.gets("/stock/lots/NOTHING/trace").await.problem(404, "NOT_FOUND");
}

#[actix_web::test]
async fn a_long_trace_comes_in_pages_and_its_sums_are_whole() {
    let line = Line::with_joints(5).await;
    for joint in ["J-1", "J-2", "J-3", "J-4", "J-5"] {
        line.crew.records(joint, &primed(30)).await.expect(201);
    }
    let (mut seen, mut cursor) = (Vec::new(), String::new());
    loop {
        let path = format!("/stock/lots/L-PRIMER/trace?limit=2{cursor}");
        let page = line.client.gets(&path).await.expect(200);
        assert_eq!(places(&page["summary"]), [5, 0, 0, 0, 5]);
        seen.extend(numbers(&page));
        let Some(next) = page["next"].as_str() else { break };
        cursor = format!("&cursor={next}");
    }
    assert_eq!(seen, ["J-1", "J-2", "J-3", "J-4", "J-5"]);
    let buried = line.client.gets("/stock/lots/L-PRIMER/trace?stage=backfilled").await.expect(200);
    assert!(numbers(&buried).is_empty());
    let bad = line.client.gets("/stock/lots/L-PRIMER/trace?cursor=x").await;
    bad.problem(400, "INVALID_CURSOR");
}

#[actix_web::test]
async fn a_joint_tells_every_lot_it_is_made_of() {
    let line = Line::with_joints(1).await;
    let primed = primed(30).with("quantities", json!({ "L-PRIMER": 0.125 }));
    let two = wrapped_inner(40).with("lots", json!(["L-INNER", "L-EXPIRED"]));
    line.crew.records_all("J-1", &[primed.clone(), two, repaired(50)]).await;

    let made = line.client.gets("/joints/J-1/materials").await.expect(200);

    let facts = made["facts"].as_array().unwrap();
    assert_eq!(facts.len(), 3, "{made:#}");
    assert_eq!((&facts[0]["event"], &facts[0]["crew"]), (&json!(primed.id()), &json!("A1")));
    let lot = &facts[0]["lots"][0];
    assert_eq!((&lot["lot"], &lot["material"]), (&json!("L-PRIMER"), &json!("PRIMER")));
    assert_eq!((&lot["quantity"], &lot["source"]), (&json!(0.125), &json!("recorded")));
    assert_eq!(harness::app::texts(&facts[1]["lots"], "lot"), ["L-EXPIRED", "L-INNER"]);
    assert!(facts[1]["lots"][0]["quantity"].is_null());
    assert_eq!(facts[2]["kind"], "repaired");
    line.client.gets("/joints/J-9/materials").await.problem(404, "NOT_FOUND");
}

#[actix_web::test]
async fn what_a_fact_says_it_used_has_to_be_possible() {
    let line = Line::with_joints(1).await;
    let of = |quantities| primed(30).with("quantities", quantities);
    for (quantities, code) in [
        (json!({ "L-INNER": 1 }), "NOT_AMONG_LOTS"),
        (json!({ "L-PRIMER": 0 }), "OUT_OF_RANGE"),
        (json!({ "L-PRIMER": -1 }), "OUT_OF_RANGE"),
        (json!({ "L-PRIMER": 10_000_001 }), "OUT_OF_RANGE"),
        (json!({ "L-PRIMER": 0.0001 }), "TOO_PRECISE"),
        (json!({ "L-PRIMER": "much" }), "WRONG_TYPE"),
    ] {
        let answer = line.crew.records("J-1", &of(quantities)).await.problem(422, "INVALID");
        assert_eq!(harness::app::codes(&answer["errors"]), [code], "{answer:#}");
        let pointer = answer["errors"][0]["pointer"].as_str().unwrap();
        assert!(pointer.starts_with("#/quantities/L-"), "{pointer}");
    }
    let good = of(json!({ "L-PRIMER": 0.001 }));
    line.crew.records("J-1", &good).await.expect(201);
    line.crew.records("J-1", &good).await.expect(200);
}
