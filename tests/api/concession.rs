//! Use as is under concession: two people, the reasons that were shown, and never the holiday test.
//!
//! That two people sign is common practice, no source; the words are those of ISO 9001, 8.7, from
//! memory, unverified.

use actix_web::test::TestRequest;
use chrono::TimeDelta;
use domain::access::Role;
use harness::{
    Answer, Fact, Line, Person,
    actor::PASSWORD,
    fact::{
        damage_found, everything, lowered, passed_test, repaired, wrapped_inner, wrapped_outer,
    },
};
use serde_json::{Value, json};

mod race;

/// Findings of that code become nonconformances, by the plan.
async fn takes_seriously(line: &Line, codes: &[&str]) {
    let severities: serde_json::Map<String, Value> =
        codes.iter().map(|code| ((*code).to_owned(), json!("major"))).collect();
    let path = line.admin.path("/inspection-plans/ITP-1");
    let body =
        json!({ "code": "ITP-1", "name": "Inspection and test plan", "severities": severities });
    let request = TestRequest::put()
        .uri(&path)
        .insert_header(("authorization", format!("Bearer {}", line.admin.token().await)))
        .insert_header(("if-match", "\"v1\""))
        .set_json(body);
    line.app.call(request).await.expect(200);
}

/// Everything that a release takes, with an inner tape that was out of date.
fn with_expired_tape() -> Vec<Fact> {
    let mut facts = everything();
    facts[4] = wrapped_inner(40).with("lots", json!(["L-EXPIRED"]));
    facts
}

/// A line with a joint that only an expired lot keeps from its release, and the nonconformance.
async fn held() -> (Line, String) {
    let line = Line::with_joints(1).await;
    takes_seriously(&line, &["LOT_EXPIRED", "HOLIDAY_TEST_VOLTAGE_LOW"]).await;
    line.records("J-1", &with_expired_tape()).await;
    let id = opened(&line, "LOT_EXPIRED").await;
    (line, id)
}

async fn opened(line: &Line, code: &str) -> String {
    let items = line.nonconformances().await;
    let found = items.as_array().unwrap().iter().find(|it| it["code"] == code).unwrap();
    found["id"].as_str().unwrap().to_owned()
}

async fn shown(person: &Person, id: &str, gates: Option<&[&str]>) -> Answer {
    let mut subject = json!({ "nonconformance": id });
    if let Some(gates) = gates {
        subject["gates"] = json!(gates);
    }
    let body = json!({ "purpose": "concession", "subject": subject });
    person.posts("/signing-challenges", body).await
}

async fn nonce(person: &Person, id: &str, gates: Option<&[&str]>) -> String {
    let challenge = shown(person, id, gates).await.expect(201);
    challenge["nonce"].as_str().unwrap().to_owned()
}

async fn signs_proposal(person: &Person, id: &str, gates: &[&str], nonce: &str) -> Answer {
    let body = json!({
        "reason": "peel test on a coupon of the lot passed", "gates": gates,
        "signature": { "nonce": nonce, "password": PASSWORD, "meaning": "proposed" },
    });
    person.posts(&format!("/nonconformances/{id}/concession"), body).await
}

async fn proposes(person: &Person, id: &str, gates: &[&str]) -> Answer {
    let nonce = nonce(person, id, Some(gates)).await;
    signs_proposal(person, id, gates, &nonce).await
}

async fn signs_approval(person: &Person, id: &str, nonce: &str, password: &str) -> Answer {
    let signature = json!({ "nonce": nonce, "password": password, "meaning": "approved" });
    let body = json!({ "signature": signature });
    person.posts(&format!("/nonconformances/{id}/concession/approval"), body).await
}

async fn approves(person: &Person, id: &str) -> Answer {
    let nonce = nonce(person, id, None).await;
    signs_approval(person, id, &nonce, PASSWORD).await
}

fn gate(joint: &Value, name: &str) -> Value {
    let gates = joint["gates"].as_array().unwrap();
    gates.iter().find(|it| it["gate"] == name).unwrap().clone()
}

const IN_FORCE: &str = "SELECT count(*) FROM concession_approvals";
const PROPOSED: &str = "SELECT count(*) FROM concessions";

#[actix_web::test]
async fn two_people_accept_an_expired_lot_and_the_joint_is_released() {
    let (line, id) = held().await;
    let told = line.qa.releases("J-1").await.refusal();
    assert_eq!(told, ["NONCONFORMANCE_OPEN", "LOT_EXPIRED"]);

    let proposed = proposes(&line.inspector, &id, &["materials"]).await.expect(201);
    assert_eq!(proposed["status"], "proposed");
    let still = line.qa.releases("J-1").await.refusal();
    assert_eq!(still, ["NONCONFORMANCE_OPEN", "LOT_EXPIRED"], "one signature opens nothing");

    let seen = shown(&line.qa, &id, None).await.expect(201);
    let proposal = &seen["concession"]["proposal"];
    assert_eq!(proposal["proposed_by"], "Name of inspector");
    assert_eq!(proposal["reason"], "peel test on a coupon of the lot passed");
    assert_eq!(seen["subject_hash"], proposed["subject_hash"], "both sign the same");
    let nonce = seen["nonce"].as_str().unwrap();
    let approved = signs_approval(&line.qa, &id, nonce, PASSWORD).await.expect(201);
    assert_eq!(approved["status"], "in_force");
    assert_eq!(harness::app::texts(&approved["signatures"], "role"), ["inspector", "qa_manager"]);

    let joint = line.qa.sees("J-1").await;
    let materials = gate(&joint, "materials");
    assert_eq!((&materials["open"], &materials["reasons"]), (&json!(true), &json!([])));
    assert_eq!(materials["waived_by"][0]["concession"], approved["id"]);
    assert_eq!(materials["waived_by"][0]["reason"]["code"], "LOT_EXPIRED");
    let codes = harness::app::codes(&joint["findings"]);
    assert!(codes.contains(&"LOT_EXPIRED".to_owned()), "what is wrong with a fact stays told");
    let closed = line.client.gets(&format!("/nonconformances/{id}")).await.expect(200);
    assert_eq!(
        (&closed["status"], &closed["disposition"]),
        (&json!("closed"), &json!("use_as_is"))
    );
    assert_eq!(closed["concessions"][0]["status"], "in_force");

    let answer = line.qa.releases("J-1").await.expect(201);
    let path = format!("/backfill-releases/{}", answer["release"].as_str().unwrap());
    let certificate = line.client.gets(&path).await.expect(200)["certificate"].to_string();
    assert!(certificate.contains(approved["id"].as_str().unwrap()), "the certificate says it");
    line.crew.records("J-1", &lowered(601)).await.expect(201);
    assert_eq!(line.qa.sees("J-1").await["stage"], "released");
}

#[actix_web::test]
async fn another_reason_shuts_the_gate_again_and_contradicts_the_release() {
    let (line, id) = held().await;
    proposes(&line.inspector, &id, &["materials"]).await.expect(201);
    approves(&line.qa, &id).await.expect(201);
    line.qa.releases("J-1").await.expect(201);

    // Late, and before the test: nothing but its lot speaks against the joint.
    let unknown = wrapped_outer(55).with("lots", json!(["L-NOBODY-KNOWS"]));
    line.inspector.records("J-1", &unknown).await.expect(201);

    let materials = gate(&line.qa.sees("J-1").await, "materials");
    assert_eq!(materials["open"], false);
    assert_eq!(harness::app::codes(&materials["reasons"]), ["LOT_UNKNOWN"]);
    assert_eq!(materials["waived_by"].as_array().unwrap().len(), 1, "the old one stays waived");
    let contradicted = "SELECT count(*) FROM backfill_releases WHERE contradicted_at IS NOT NULL";
    assert_eq!(line.app.count(contradicted).await, 1);
}

#[actix_web::test]
async fn one_person_is_not_two() {
    let (line, id) = held().await;
    proposes(&line.qa, &id, &["materials"]).await.expect(201);
    approves(&line.qa, &id).await.problem(409, "SAME_PERSON");
    assert_eq!(line.app.count(IN_FORCE).await, 0);
    assert_eq!(line.nonconformances().await[0]["status"], "open");
}

#[actix_web::test]
async fn one_of_the_two_is_a_qa_manager() {
    let (line, id) = held().await;
    proposes(&line.inspector, &id, &["materials"]).await.expect(201);
    approves(&line.coordinator, &id).await.problem(409, "QA_MANAGER_NEEDED");
    assert_eq!(line.app.count(IN_FORCE).await, 0);
    approves(&line.qa, &id).await.expect(201);
}

#[actix_web::test]
async fn others_sign_no_concession() {
    let (line, id) = held().await;
    for person in [&line.crew, &line.client, &line.materials, &line.admin] {
        shown(person, &id, Some(&["materials"])).await.problem(403, "FORBIDDEN");
        signs_proposal(person, &id, &["materials"], "none").await.problem(403, "FORBIDDEN");
        signs_approval(person, &id, "none", PASSWORD).await.problem(403, "FORBIDDEN");
    }
    // Who may sign a concession may not therefore release.
    line.inspector.asks_to_sign(&json!({ "joints": ["J-1"] })).await.problem(403, "FORBIDDEN");
}

#[actix_web::test]
async fn who_coated_the_joint_signs_nothing() {
    let line = Line::with_joints(1).await;
    takes_seriously(&line, &["LOT_EXPIRED"]).await;
    let mut facts = with_expired_tape();
    facts[3] = facts[3].clone().with("applicator", "P-QA");
    line.records("J-1", &facts).await;
    let id = opened(&line, "LOT_EXPIRED").await;

    let answer = proposes(&line.wrapping_qa, &id, &["materials"]).await;
    answer.problem(409, "APPLICATOR_CANNOT_SIGN");
    proposes(&line.inspector, &id, &["materials"]).await.expect(201);
    approves(&line.wrapping_qa, &id).await.problem(409, "APPLICATOR_CANNOT_SIGN");
    assert_eq!((line.app.count(PROPOSED).await, line.app.count(IN_FORCE).await), (1, 0));
}

#[actix_web::test]
async fn the_gates_that_nobody_opens_stay_shut() {
    let (line, id) = held().await;
    line.crew.records("J-1", &damage_found(70)).await.expect(201);
    for hard in ["weld", "layers", "holiday_test", "damage", "freshness"] {
        let gates = ["materials", hard];
        let told = proposes(&line.qa, &id, &gates).await.problem(409, "NOT_WAIVABLE");
        assert_eq!(told["blocking_conditions"][0]["gate"], hard);
    }
    assert_eq!(line.app.count(PROPOSED).await, 0);
    let (joint, decided) = (line.qa.sees("J-1").await, line.qa.releases("J-1").await.refusal());
    assert_eq!(gate(&joint, "holiday_test")["open"], false);
    assert!(decided.contains(&"HOLIDAY_TEST_STALE".to_owned()), "{decided:?}");
}

#[actix_web::test]
async fn the_nonconformance_of_a_holiday_test_is_not_used_as_is() {
    let line = Line::with_joints(1).await;
    takes_seriously(&line, &["HOLIDAY_TEST_VOLTAGE_LOW"]).await;
    let mut facts = everything();
    facts[6] = passed_test(60).with("voltage_kv", 12.0);
    line.records("J-1", &facts).await;
    let id = opened(&line, "HOLIDAY_TEST_VOLTAGE_LOW").await;
    proposes(&line.qa, &id, &[]).await.problem(409, "NOT_WAIVABLE");
    assert_eq!(line.app.count(PROPOSED).await, 0);
}

#[actix_web::test]
async fn a_contradicted_release_is_not_used_as_is_while_the_test_does_not_hold() {
    let line = Line::with_ready_joint().await;
    line.qa.releases("J-1").await.expect(201);
    line.crew.records("J-1", &damage_found(300)).await.expect(201);
    let id = opened(&line, "RELEASE_CONTRADICTED").await;
    proposes(&line.qa, &id, &[]).await.problem(409, "NOT_WAIVABLE");

    line.inspector.records_all("J-1", &[repaired(400), passed_test(500)]).await;
    proposes(&line.inspector, &id, &[]).await.expect(201);
    approves(&line.qa, &id).await.expect(201);
    line.qa.releases("J-1").await.expect(201);
}

#[actix_web::test]
async fn an_open_gate_has_nothing_to_waive() {
    let (line, id) = held().await;
    proposes(&line.qa, &id, &["peel_tests"]).await.problem(409, "NOTHING_TO_WAIVE");
}

#[actix_web::test]
async fn a_nonce_signs_once_in_time_and_for_its_purpose() {
    let (line, id) = held().await;
    let first = nonce(&line.inspector, &id, Some(&["materials"])).await;
    signs_proposal(&line.inspector, &id, &["materials"], &first).await.expect(201);
    let again = signs_proposal(&line.inspector, &id, &["materials"], &first).await;
    again.problem(409, "NONCE_USED");

    let late = nonce(&line.qa, &id, None).await;
    line.waits(TimeDelta::minutes(5) + TimeDelta::seconds(1));
    signs_approval(&line.qa, &id, &late, PASSWORD).await.problem(401, "NONCE_INVALID");
    let release = line.qa.nonce(&json!({ "joints": ["J-1"] })).await;
    signs_approval(&line.qa, &id, &release, PASSWORD).await.problem(401, "NONCE_INVALID");
    let of_inspector = nonce(&line.inspector, &id, None).await;
    signs_approval(&line.qa, &id, &of_inspector, PASSWORD).await.problem(401, "NONCE_INVALID");
    let wrong = nonce(&line.qa, &id, None).await;
    let answer = signs_approval(&line.qa, &id, &wrong, "another long walk").await;
    answer.problem(401, "WRONG_PASSWORD");
    line.qa
        .signs(&json!({ "joints": ["J-1"] }), &wrong, PASSWORD)
        .await
        .problem(401, "NONCE_INVALID");
    assert_eq!((line.app.count(PROPOSED).await, line.app.count(IN_FORCE).await), (1, 0));
    signs_approval(&line.qa, &id, &wrong, PASSWORD).await.expect(201);
    shown(&line.qa, &id, None).await.problem(409, "NONCONFORMANCE_NOT_OPEN");
}

#[actix_web::test]
async fn a_joint_that_changed_in_between_is_not_signed() {
    let (line, id) = held().await;
    let seen = nonce(&line.inspector, &id, Some(&["materials"])).await;
    line.crew.records("J-1", &lowered(70)).await.expect(201);
    let answer = signs_proposal(&line.inspector, &id, &["materials"], &seen).await;
    answer.problem(412, "VERSION_IS_STALE");

    proposes(&line.inspector, &id, &["materials"]).await.expect(201);
    let seen = nonce(&line.qa, &id, None).await;
    line.crew.records("J-1", &lowered(80)).await.expect(201);
    signs_approval(&line.qa, &id, &seen, PASSWORD).await.problem(412, "VERSION_IS_STALE");
    let told = shown(&line.qa, &id, None).await.expect(201);
    assert_eq!(told["concession"]["proposal"], Value::Null, "that proposal is of another joint");
    approves(&line.qa, &id).await.problem(412, "VERSION_IS_STALE");
    assert_eq!(line.app.count(IN_FORCE).await, 0);

    line.waits(TimeDelta::seconds(1));
    proposes(&line.inspector, &id, &["materials"]).await.expect(201);
    approves(&line.qa, &id).await.expect(201);
}

#[actix_web::test]
async fn another_reason_given_in_between_is_not_approved_unread() {
    let (line, id) = held().await;
    proposes(&line.inspector, &id, &["materials"]).await.expect(201);
    let seen = nonce(&line.qa, &id, None).await;
    line.waits(TimeDelta::seconds(1));
    proposes(&line.coordinator, &id, &["materials"]).await.expect(201);
    signs_approval(&line.qa, &id, &seen, PASSWORD).await.problem(412, "VERSION_IS_STALE");
    approves(&line.qa, &id).await.expect(201);
}

#[actix_web::test]
async fn nothing_is_approved_that_nobody_proposed() {
    let (line, id) = held().await;
    approves(&line.qa, &id).await.problem(409, "CONCESSION_NOT_PROPOSED");
}

#[actix_web::test]
async fn who_is_no_qa_manager_any_more_does_not_count_as_one() {
    let (line, id) = held().await;
    let once = line.joins("once-qa", Role::QaManager).await;
    proposes(&once, &id, &["materials"]).await.expect(201);
    let path = line.admin.path(&format!("/members/{}", once.user));
    let request = TestRequest::put()
        .uri(&path)
        .insert_header(("authorization", format!("Bearer {}", line.admin.token().await)))
        .insert_header(("if-match", "\"v1\""))
        .set_json(json!({ "role": "inspector" }));
    line.app.call(request).await.expect(200);
    approves(&line.inspector, &id).await.problem(409, "QA_MANAGER_NEEDED");
}
