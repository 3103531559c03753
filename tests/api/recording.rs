//! Facts are stored once, whole or not at all, and what is wrong with them comes back.

use harness::{
    Line,
    app::{codes, texts},
    fact::{
        Fact, coating, damage_found, everything, failed_test, passed_test, primed, repaired,
        welded, wrapped_inner,
    },
};
use serde_json::json;

const FACTS: &str = "SELECT count(*) FROM facts";

#[actix_web::test]
async fn a_repeated_fact_has_one_effect_and_the_same_answer() {
    let line = Line::with_joints(1).await;
    let fact = welded(0);
    let first = line.crew.records("J-1", &fact).await.expect(201);
    let again = line.crew.records("J-1", &fact).await.expect(200);
    assert_eq!(first, again);
    assert_eq!(line.app.count(FACTS).await, 1);
}

#[actix_web::test]
async fn an_id_is_never_used_for_other_content_or_another_joint() {
    let line = Line::with_joints(2).await;
    let fact = welded(0);
    line.crew.records("J-1", &fact).await.expect(201);

    let other = fact.clone().with("note", "another");
    line.crew.records("J-1", &other).await.problem(409, "ID_REUSED");
    line.crew.records("J-2", &fact).await.problem(409, "ID_REUSED");
    assert_eq!(line.app.count(FACTS).await, 1);
}

#[actix_web::test]
async fn a_batch_keeps_the_good_and_names_each_fault_of_the_bad() {
    let line = Line::with_joints(2).await;
    let known = welded(0);
    line.crew.records("J-1", &known).await.expect(201);
    let bad = passed_test(20).with("voltage_kv", -1).without("detector").with("colour", "red");

    let items = line
        .inspector
        .sends(vec![
            welded(1).on("J-2"),
            bad.on("J-1"),
            known.clone().on("J-1"),
            known.with("note", "another").on("J-1"),
            welded(2).on("J-99"),
            welded(3).0,
            Fact::new("painted", 4, json!({})).on("J-1"),
            Fact::new("weld_accepted", 5, json!({})).on("J-1"),
        ])
        .await;

    let statuses: Vec<_> = (0..8).map(|index| items[index]["status"].clone()).collect();
    assert_eq!(statuses, [201, 422, 200, 409, 404, 422, 422, 201]);
    let mut pointers = texts(&items[1]["problem"]["errors"], "pointer");
    pointers.sort();
    assert_eq!(pointers, ["#/colour", "#/detector", "#/voltage_kv"]);
    assert_eq!(items[3]["problem"]["code"], "ID_REUSED");
    assert_eq!(items[5]["problem"]["errors"][0]["pointer"], "#/joint");
    assert_eq!(items[6]["problem"]["errors"][0]["pointer"], "#/kind");
    assert_eq!(line.app.count(FACTS).await, 3);
}

#[actix_web::test]
async fn bad_input_names_every_fault_and_stores_nothing() {
    let line = Line::with_joints(1).await;
    let bad = wrapped_inner(40)
        .with("id", "no uuid")
        .with("occurred_at", "yesterday")
        .with("overlap_percent", 100)
        .with("layer", "middle")
        .with("supersedes", json!(null))
        .with("colour", "red");

    let problem = line.crew.records("J-1", &bad).await.problem(422, "INVALID");

    let mut pointers = texts(&problem["errors"], "pointer");
    pointers.sort();
    let all = ["#/colour", "#/id", "#/layer", "#/occurred_at", "#/overlap_percent"];
    assert_eq!(pointers, all);
    assert_eq!(line.app.count(FACTS).await, 0);
}

#[actix_web::test]
async fn a_fact_on_no_joint_is_not_found() {
    let line = Line::with_joints(1).await;
    line.crew.records("J-2", &welded(0)).await.problem(404, "NOT_FOUND");
}

#[actix_web::test]
async fn what_is_wrong_with_a_fact_comes_back_and_the_fact_stays() {
    let line = Line::with_joints(1).await;
    line.records("J-1", &coating()[..3]).await;
    let cold = json!({ "air_c": 20.0, "relative_humidity_percent": 95.0, "steel_c": 20.0 });
    let fact = primed(30).with("ambient", cold).with("lots", json!(["L-NEW"]));

    let recorded = line.crew.records("J-1", &fact).await.expect(201);

    let mut found = codes(&recorded["findings"]);
    found.sort();
    assert_eq!(found, ["CONDITIONS_OUT_OF_LIMITS", "LOT_UNKNOWN"]);
    assert_eq!(line.app.count(FACTS).await, 4);
}

#[actix_web::test]
async fn a_serious_finding_opens_a_nonconformance_by_itself() {
    let line = Line::with_ready_joint().await;
    let patch = repaired(80).with("wrap", "patch");
    line.records("J-1", &[damage_found(70)]).await;

    let recorded = line.crew.records("J-1", &patch).await.expect(201);

    assert_eq!(codes(&recorded["findings"]), ["REPAIR_IS_PATCH"]);
    let opened = line.nonconformances().await;
    assert_eq!(opened[0]["code"], "REPAIR_IS_PATCH");
    assert_eq!(opened[0]["event"], patch.id());
    line.records("J-1", &[passed_test(90)]).await;
    assert_eq!(line.qa.releases("J-1").await.refusal(), ["NONCONFORMANCE_OPEN"]);
}

#[actix_web::test]
async fn a_superseded_fact_stays_visible_and_no_longer_counts() {
    let line = Line::with_joints(1).await;
    let wrong = failed_test(60);
    line.records("J-1", &coating()).await;
    line.records("J-1", std::slice::from_ref(&wrong)).await;
    let right = passed_test(60).instead_of(&wrong);

    let joint = line.inspector.records("J-1", &right).await.expect(201)["joint"].clone();

    assert_eq!(joint["stage"], "tested");
    let facts = line.client.gets("/joints/J-1/events").await.expect(200)["items"].clone();
    assert_eq!(facts.as_array().unwrap().len(), 8);
    assert_eq!(facts[6]["superseded_by"], right.id());
    line.qa.releases("J-1").await.expect(201);
}

#[actix_web::test]
async fn who_wraps_cannot_undo_a_failed_test() {
    let line = Line::with_joints(1).await;
    let wrong = failed_test(60);
    line.records("J-1", std::slice::from_ref(&wrong)).await;
    let right = passed_test(60).instead_of(&wrong);

    line.crew.records("J-1", &right).await.problem(403, "FORBIDDEN");
    let items = line.crew.sends(vec![right.on("J-1")]).await;
    assert_eq!(items[0]["status"], 403);
    assert_eq!(line.app.count(FACTS).await, 1);
}

#[actix_web::test]
async fn the_next_step_of_a_damaged_joint_is_its_repair_then_its_test() {
    let line = Line::with_joints(1).await;
    line.records("J-1", &everything()).await;
    let after_damage = line.crew.records("J-1", &damage_found(70)).await.expect(201);
    assert_eq!(after_damage["joint"]["next_steps"][0]["action"], "repair_damage");
    let after_repair = line.crew.records("J-1", &repaired(80)).await.expect(201);
    let step = &after_repair["joint"]["next_steps"][0];
    assert_eq!(
        (&step["action"], &step["required_voltage_kv"]),
        (&json!("holiday_test"), &json!(12.5))
    );
    assert!(!step["cautions"].as_array().unwrap().is_empty());
}

#[actix_web::test]
async fn what_cannot_be_kept_is_refused_by_name() {
    let line = Line::with_joints(1).await;
    let null = passed_test(20).with("note", "a\0b").with("detector", "HD\0");
    let answer = line.inspector.records("J-1", &null).await.problem(422, "INVALID");
    let mut pointers = texts(&answer["errors"], "pointer");
    pointers.sort();
    assert_eq!(pointers, ["#/detector", "#/note"]);
    let leap = passed_test(20).with("occurred_at", "2026-06-10T10:30:60.5Z");
    let answer = line.inspector.records("J-1", &leap).await.problem(422, "INVALID");
    assert_eq!(texts(&answer["errors"], "pointer"), ["#/occurred_at"]);
    line.inspector.gets("/joints/%00x").await.problem(400, "WRONG_CHARACTER");
    line.inspector.gets("/joints?section=%00").await.problem(400, "WRONG_CHARACTER");
    assert_eq!(line.app.count(FACTS).await, 0);
}

/// A clock that is ahead: what it records is kept, and opens no gate.
#[actix_web::test]
async fn a_fact_from_the_future_opens_nothing() {
    let line = Line::with_joints(1).await;
    let day = 24 * 60;
    line.records("J-1", &[welded(0), harness::fact::weld_accepted(600 + day)]).await;
    let joint = line.qa.sees("J-1").await;
    assert_eq!(joint["stage"], "welded");
    assert!(codes(&joint["findings"]).contains(&"AHEAD_OF_CLOCK".to_owned()), "{joint:#}");

    line.records("J-1", &coating()).await;
    line.records("J-1", &[damage_found(300), repaired(600 + day)]).await;
    let damage = &line.qa.sees("J-1").await["gates"][3];
    assert_eq!((&damage["gate"], &damage["open"]), (&json!("damage"), &json!(false)));
}
