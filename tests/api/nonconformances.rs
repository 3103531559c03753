//! Nonconformances that people raise: of a joint, a lot, a crew, a stretch; and how they end.

use harness::{
    Answer, Line, Person,
    fact::{everything, lowered, passed_test, prepared, primed, wrapped_inner, wrapped_outer},
    minute,
};
use serde_json::{Value, json};

const ID: &str = "019eb243-1000-7000-8000-000000000001";

fn raised(subject: &Value) -> Value {
    json!({ "id": ID, "subject": subject, "nature": "tape without print", "severity": "major" })
}

async fn raises(person: &Person, subject: Value) -> Answer {
    person.posts("/nonconformances", raised(&subject)).await
}

async fn says(person: &Person, kind: &str) -> Answer {
    let body = json!({ "kind": kind, "text": format!("what is to be said: {kind}") });
    person.posts(&format!("/nonconformances/{ID}/entries"), body).await
}

async fn closes(person: &Person, proof: Option<&str>) -> Answer {
    let version =
        person.gets(&format!("/nonconformances/{ID}")).await.expect(200)["version"].clone();
    let mut body = json!({ "disposition": "rework", "note": "put right", "version": version });
    if let Some(proof) = proof {
        body["closing_event"] = json!(proof);
    }
    person.posts(&format!("/nonconformances/{ID}/disposition"), body).await
}

/// Does what raising and closing asked for.
async fn follows(line: &Line) {
    let id = ID.parse().unwrap();
    app::nonconformances::follow(&line.app.worker, line.project, id).await.unwrap();
}

async fn listed_as_blocked(line: &Line) -> Vec<String> {
    let list = line.client.gets("/joints?blocked=true").await.expect(200);
    harness::app::texts(&list["items"], "joint_number")
}

const BLOCKED: [&str; 1] = ["NONCONFORMANCE_OPEN"];

#[actix_web::test]
async fn one_of_a_joint_blocks_it_until_a_fact_proves_that_it_is_put_right() {
    let line = Line::with_ready_joint().await;
    let mut body = raised(&json!({ "joint": "J-1" }));
    body["containment"] = json!("the roll is set aside");
    let events = line.qa.gets("/joints/J-1/events").await.expect(200);
    body["evidence"] = json!([events["items"][4]["id"]]);

    let record = line.inspector.posts("/nonconformances", body.clone()).await.expect(201);

    assert_eq!((&record["joint"], &record["subject"]), (&json!("J-1"), &json!({ "joint": "J-1" })));
    assert_eq!(record["evidence"], body["evidence"]);
    assert_eq!(record["opened_by"], json!(line.inspector.user));
    let entry = &record["entries"][0];
    assert_eq!((&entry["kind"], &entry["text"]), (&json!("containment"), &body["containment"]));
    assert_eq!(entry["printed_name"], "Name of inspector");
    assert_eq!(line.qa.releases("J-1").await.refusal(), BLOCKED);
    assert_eq!(listed_as_blocked(&line).await, ["J-1"]);

    // A finding that comes or goes leaves it alone.
    line.waits(chrono::TimeDelta::minutes(1));
    let test = passed_test(600);
    line.inspector.records("J-1", &test).await.expect(201);
    assert_eq!(line.qa.releases("J-1").await.refusal(), BLOCKED);
    closes(&line.qa, None).await.problem(422, "INVALID");
    closes(&line.qa, Some(events["items"][4]["id"].as_str().unwrap()))
        .await
        .problem(409, "NOT_PROVEN");
    let closed = closes(&line.qa, Some(&test.id())).await.expect(200);
    assert_eq!((&closed["status"], &closed["disposition"]), (&json!("closed"), &json!("rework")));
    line.qa.releases("J-1").await.expect(201);
}

#[actix_web::test]
async fn a_repeated_send_has_one_effect_and_another_one_is_refused() {
    let line = Line::with_joints(1).await;
    let first = raises(&line.qa, json!({ "joint": "J-1" })).await.expect(201);
    let again = raises(&line.qa, json!({ "joint": "J-1" })).await.expect(200);
    assert_eq!(first, again);
    raises(&line.qa, json!({ "lot": "L-INNER" })).await.problem(409, "ID_REUSED");
    let mut other = raised(&json!({ "joint": "J-1" }));
    other["nature"] = json!("something else");
    line.qa.posts("/nonconformances", other).await.problem(409, "ID_REUSED");
    assert_eq!(line.nonconformances().await.as_array().unwrap().len(), 1);
}

#[actix_web::test]
async fn one_of_a_lot_blocks_the_joints_that_carry_it() {
    let line = Line::with_joints(3).await;
    line.makes_ready("J-1").await;
    line.makes_ready("J-2").await;
    line.qa.releases("J-2").await.expect(201);

    let record = raises(&line.qa, json!({ "lot": "L-INNER" })).await.expect(201);

    assert_eq!((&record["joint"], &record["subject"]["lot"]), (&Value::Null, &json!("L-INNER")));
    assert_eq!(line.qa.releases("J-1").await.refusal(), BLOCKED);
    let released = line.qa.sees("J-2").await;
    assert_eq!((&released["stage"], &released["flags"]), (&json!("released"), &json!(["blocked"])));
    assert_eq!(listed_as_blocked(&line).await, Vec::<String>::new(), "that is done later");
    follows(&line).await;
    follows(&line).await;
    assert_eq!(listed_as_blocked(&line).await, ["J-1", "J-2"]);
    // A joint on which it is used afterwards is blocked by the fact that says so.
    line.records("J-3", &everything()).await;
    assert_eq!(listed_as_blocked(&line).await, ["J-1", "J-2", "J-3"]);
    // Cleaned off and wrapped anew with another lot, it carries it no more.
    let other = wrapped_inner(220).with("lots", json!(["L-EXPIRED"]));
    let anew = [prepared(200), primed(210), other, wrapped_outer(230), passed_test(240)];
    line.records("J-1", &anew).await;
    assert_eq!(line.qa.releases("J-1").await.refusal(), ["LOT_EXPIRED"]);
    assert_eq!(listed_as_blocked(&line).await, ["J-2", "J-3"]);
}

#[actix_web::test]
async fn one_of_a_lot_ends_with_a_verification() {
    let line = Line::with_ready_joint().await;
    raises(&line.qa, json!({ "lot": "L-INNER" })).await.expect(201);
    follows(&line).await;
    closes(&line.qa, None).await.problem(409, "NOT_PROVEN");
    let some = passed_test(60).id();
    closes(&line.qa, Some(&some)).await.problem(422, "INVALID");
    for kind in ["root_cause", "action"] {
        says(&line.inspector, kind).await.expect(201);
        line.waits(chrono::TimeDelta::seconds(1));
        closes(&line.qa, None).await.problem(409, "NOT_PROVEN");
    }
    let record = says(&line.qa, "verification").await.expect(201);
    let kinds = harness::app::texts(&record["entries"], "kind");
    assert_eq!(kinds, ["root_cause", "action", "verification"]);

    closes(&line.inspector, None).await.problem(403, "FORBIDDEN");
    closes(&line.qa, None).await.expect(200);
    follows(&line).await;

    assert_eq!(listed_as_blocked(&line).await, Vec::<String>::new());
    line.qa.releases("J-1").await.expect(201);
    closes(&line.qa, None).await.problem(409, "NONCONFORMANCE_NOT_OPEN");
}

#[actix_web::test]
async fn one_of_a_crew_blocks_what_it_did_since() {
    let line = Line::with_joints(2).await;
    line.makes_ready("J-1").await;
    line.records("J-2", &[prepared(400), primed(410), wrapped_inner(420), wrapped_outer(430)])
        .await;
    let crew = |since| json!({ "crew": "A1", "since": minute(since) });

    raises(&line.qa, crew(430)).await.expect(201);

    assert_eq!(
        line.qa.sees("J-2").await["flags"],
        json!(["blocked"]),
        "the outer wrap, to the minute"
    );
    line.qa.releases("J-1").await.expect(201);
    follows(&line).await;
    assert_eq!(listed_as_blocked(&line).await, ["J-2"]);
}

#[actix_web::test]
async fn one_of_a_stretch_blocks_the_joints_in_it() {
    let line = Line::with_joints(4).await;
    for joint in ["J-1", "J-2", "J-3", "J-4"] {
        line.makes_ready(joint).await;
    }
    // Joints stand 12 m apart; both ends are in it.
    let stretch = json!({ "stretch": { "kp_from_km": 0.024, "kp_to_km": 0.036 } });
    let record = raises(&line.qa, stretch).await.expect(201);
    let shown = &record["subject"]["stretch"];
    assert_eq!((&shown["kp_from_km"], &shown["kp_to_km"]), (&json!(0.024), &json!(0.036)));
    follows(&line).await;
    assert_eq!(listed_as_blocked(&line).await, ["J-2", "J-3"]);
    assert_eq!(line.qa.releases("J-2").await.refusal(), BLOCKED);
    for joint in ["J-1", "J-4"] {
        line.qa.releases(joint).await.expect(201);
    }
    line.crew.records("J-3", &lowered(601)).await.expect(201);
}

#[actix_web::test]
async fn one_of_another_section_or_of_little_weight_blocks_nothing() {
    let line = Line::with_ready_joint().await;
    let stretch = json!({ "section": "S2", "kp_from_km": 0.0, "kp_to_km": 500.0 });
    raises(&line.qa, json!({ "stretch": stretch })).await.expect(201);
    let mut minor = raised(&json!({ "joint": "J-1" }));
    minor["severity"] = json!("minor");
    minor["id"] = json!("019eb243-1000-7000-8000-000000000002");
    line.qa.posts("/nonconformances", minor).await.expect(201);
    line.qa.releases("J-1").await.expect(201);
}

#[actix_web::test]
async fn what_is_not_there_is_not_raised() {
    let line = Line::with_joints(2).await;
    line.makes_ready("J-2").await;
    for (subject, status, code) in [
        (json!({ "joint": "J-9" }), 404, "NOT_FOUND"),
        (json!({ "lot": "L-9" }), 404, "NOT_FOUND"),
        (json!({ "crew": "A9", "since": minute(0) }), 404, "NOT_FOUND"),
        (json!({ "crew": "A1" }), 422, "INVALID"),
        (json!({ "joint": "J-1", "lot": "L-INNER" }), 422, "INVALID"),
        (json!({ "joint": "J-1", "since": minute(0) }), 422, "INVALID"),
        (json!({}), 422, "INVALID"),
        (json!({ "stretch": { "kp_from_km": 2.0, "kp_to_km": 1.0 } }), 422, "INVALID"),
        (
            json!({ "stretch": { "section": "S9", "kp_from_km": 0.0, "kp_to_km": 1.0 } }),
            404,
            "NOT_FOUND",
        ),
    ] {
        raises(&line.qa, subject).await.problem(status, code);
    }
    let mut foreign = raised(&json!({ "joint": "J-1" }));
    let events = line.qa.gets("/joints/J-2/events").await.expect(200);
    foreign["evidence"] = json!([events["items"][0]["id"]]);
    let told = line.qa.posts("/nonconformances", foreign).await.problem(422, "INVALID");
    assert_eq!(told["errors"][0]["pointer"], "#/evidence/0");
    assert_eq!(line.nonconformances().await, json!([]));
}

#[actix_web::test]
async fn only_inspectors_and_qa_managers_raise_and_write() {
    let line = Line::with_joints(1).await;
    for person in [&line.client, &line.crew, &line.materials, &line.coordinator, &line.admin] {
        raises(person, json!({ "joint": "J-1" })).await.problem(403, "FORBIDDEN");
        says(person, "action").await.problem(403, "FORBIDDEN");
    }
    says(&line.qa, "action").await.problem(404, "NOT_FOUND");
}

#[actix_web::test]
async fn a_concession_is_given_joint_by_joint() {
    let line = Line::with_ready_joint().await;
    raises(&line.qa, json!({ "lot": "L-INNER" })).await.expect(201);
    let body = json!({ "purpose": "concession", "subject": { "nonconformance": ID } });
    let told = line.qa.posts("/signing-challenges", body).await;
    told.problem(409, "CONCESSION_NEEDS_JOINT");
}
