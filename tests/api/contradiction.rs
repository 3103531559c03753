//! Facts that arrive late against a release that was given.

use harness::{
    Line, Person,
    fact::{backfilled, damage_found, failed_test, lowered, passed_test, repaired},
};
use serde_json::{Value, json};

async fn released() -> Line {
    let line = Line::with_ready_joint().await;
    line.qa.releases("J-1").await.expect(201);
    line
}

const OPEN_WARNINGS: &str = "SELECT count(*) FROM warnings
    WHERE kind = 'release_contradicted' AND subject = 'J-1' AND cleared_at IS NULL";
const CONTRADICTED: &str =
    "SELECT count(*) FROM backfill_releases WHERE contradicted_at IS NOT NULL";

#[actix_web::test]
async fn a_late_damage_contradicts_the_release() {
    let line = released().await;

    let recorded = line.crew.records("J-1", &damage_found(300)).await.expect(201);

    let joint = &recorded["joint"];
    assert_eq!(joint["stage"], "wrapped");
    assert!(joint["release"].is_null());
    let flags = joint["flags"].to_string();
    assert!(flags.contains("blocked") && flags.contains("contradicted"), "{flags}");
    let opened = line.nonconformances().await;
    assert_eq!(opened[0]["code"], "RELEASE_CONTRADICTED");
    assert_eq!((&opened[0]["severity"], &opened[0]["status"]), (&json!("major"), &json!("open")));
    assert_eq!(line.app.count(OPEN_WARNINGS).await, 1);
    assert_eq!(line.app.count(CONTRADICTED).await, 1, "it is marked, not erased");
}

#[actix_web::test]
async fn a_late_fact_before_the_test_contradicts_nothing() {
    let line = released().await;
    let recorded = line.crew.records("J-1", &lowered(55)).await.expect(201);
    assert_eq!(recorded["event"]["late"], true);
    assert_eq!(recorded["joint"]["stage"], "released");
    assert_eq!(line.app.count(CONTRADICTED).await, 0);
}

#[actix_web::test]
async fn a_late_failed_test_of_a_buried_joint_is_critical() {
    let line = released().await;
    line.crew.records_all("J-1", &[lowered(601), backfilled(602)]).await;

    line.inspector.records("J-1", &failed_test(500)).await.expect(201);

    let opened = line.nonconformances().await;
    let contradiction = of_code(&opened, "RELEASE_CONTRADICTED");
    assert_eq!(contradiction["severity"], "critical");
    let joint = line.qa.sees("J-1").await;
    assert_eq!(joint["stage"], "backfilled");
    assert!(joint["flags"].to_string().contains("buried_unreleased"));
    assert_eq!(joint["next_steps"][0]["action"], "excavate");
    assert_eq!(line.app.count(OPEN_WARNINGS).await, 1);
}

#[actix_web::test]
async fn a_contradicted_joint_is_released_again_after_repair_test_and_decision() {
    let line = released().await;
    line.crew.records("J-1", &damage_found(300)).await.expect(201);
    line.waits(chrono::TimeDelta::minutes(1));
    let test = passed_test(600);
    line.inspector.records_all("J-1", &[repaired(400), test.clone()]).await;
    assert_eq!(line.qa.releases("J-1").await.refusal(), ["NONCONFORMANCE_OPEN"]);

    decide(&line.qa, &line.nonconformances().await[0], &test.id()).await;

    let answer = line.qa.releases("J-1").await.expect(201);
    let joint = line.qa.sees("J-1").await;
    assert_eq!((&joint["stage"], &joint["flags"]), (&json!("released"), &json!([])));
    assert_eq!(joint["release"], answer["release"]);
    assert_eq!(line.app.count("SELECT count(*) FROM backfill_releases").await, 2);
}

#[actix_web::test]
async fn a_contradiction_is_not_settled_before_the_joint_is_sound() {
    let line = released().await;
    line.crew.records("J-1", &damage_found(300)).await.expect(201);
    line.waits(chrono::TimeDelta::minutes(1));
    let repair = repaired(400);
    line.crew.records("J-1", &repair).await.expect(201);

    let opened = line.nonconformances().await[0].clone();
    disposition(&line.qa, &opened, &repair.id()).await.problem(409, "NOT_PROVEN");
}

async fn decide(qa: &Person, nonconformance: &Value, proof: &str) {
    disposition(qa, nonconformance, proof).await.expect(200);
}

async fn disposition(qa: &Person, nonconformance: &Value, proof: &str) -> harness::Answer {
    let path = format!("/nonconformances/{}/disposition", nonconformance["id"].as_str().unwrap());
    let body = json!({
        "disposition": "repair", "closing_event": proof, "note": "repaired and tested",
        "version": nonconformance["version"],
    });
    qa.posts(&path, body).await
}

fn of_code(items: &Value, code: &str) -> Value {
    let items = items.as_array().unwrap();
    items.iter().find(|item| item["code"] == code).unwrap().clone()
}

/// `fact` must contradict the release of a joint that was released at minute 600.
async fn contradicts(fact: harness::Fact, why: &str) {
    let line = released().await;
    line.inspector.records("J-1", &fact).await.expect(201);
    assert_eq!(line.app.count(CONTRADICTED).await, 1, "{:#}", fact.0);
    let reasons = "SELECT count(*) FROM backfill_releases
        WHERE contradiction @> jsonb_build_array(jsonb_build_object('code', $1::text))";
    let told: i64 =
        sqlx::query_scalar(reasons).bind(why).fetch_one(&line.app.database.pool).await.unwrap();
    assert_eq!(told, 1, "{why}");
}

#[actix_web::test]
async fn a_burial_before_the_release_contradicts_it() {
    contradicts(backfilled(599), "BACKFILLED_BEFORE_RELEASE").await;
}

#[actix_web::test]
async fn a_late_paper_contradicts_too() {
    let coupon = json!({ "specimen": "coupon", "result": "fail", "force_n_per_mm": 0.1 });
    contradicts(harness::Fact::new("peel_tested", 550, coupon), "PEEL_TEST_FAILED").await;
}

#[actix_web::test]
async fn a_signer_who_turns_out_to_be_the_applicator_has_released_nothing() {
    let line = Line::with_joints(1).await;
    let facts = harness::fact::everything();
    line.records("J-1", &facts).await;
    line.wrapping_qa.releases("J-1").await.expect(201);
    let primed = facts.iter().find(|it| it.0["kind"] == "primed").unwrap();
    let again = harness::fact::primed(30).with("applicator", "P-QA").instead_of(primed);
    line.inspector.records("J-1", &again).await.expect(201);
    assert_eq!(line.app.count(CONTRADICTED).await, 1);
}

#[actix_web::test]
async fn what_is_sent_together_is_judged_one_after_the_other() {
    let line = released().await;
    let rejected = harness::Fact::new("weld_rejected", 590, json!({}));
    let accepted = harness::fact::weld_accepted(595);
    line.records("J-1", &[rejected.clone(), accepted]).await;
    assert_eq!(line.app.count(CONTRADICTED).await, 1);
    let opened = line.nonconformances().await;
    assert_eq!(opened[0]["event"], rejected.id(), "the fact that did it is named");
}
