//! The same request sent again has no second effect and gets the same answer.

use actix_web::{http::Method, test::TestRequest};
use chrono::TimeDelta;
use harness::{
    Line, Person, TestApp,
    app::Answer,
    fact::{damage_found, passed_test, welded},
};
use serde_json::{Value, json};

async fn send(app: &TestApp, person: &Person, path: &str, body: &Value, key: &str) -> Answer {
    let request = TestRequest::with_uri(&person.path(path))
        .method(Method::POST)
        .insert_header(("authorization", format!("Bearer {}", person.token().await)))
        .insert_header(("idempotency-key", key))
        .set_json(body);
    app.call(request).await
}

const FACTS: &str = "SELECT count(*) FROM facts";

#[actix_web::test]
async fn a_replay_is_the_first_answer_though_the_joint_went_on() {
    let line = Line::with_joints(1).await;
    let (app, path) = (&line.app, "/joints/J-1/events");
    let fact = welded(0).0;
    let first = send(app, &line.crew, path, &fact, "k-1").await;
    line.crew.records("J-1", &damage_found(5)).await.expect(201);

    let again = send(app, &line.crew, path, &fact, "\"k-1\"").await;

    assert_eq!((first.status, again.status), (201, 201));
    assert_eq!(first.body, again.body);
    assert_eq!(again.header("idempotent-replayed"), "true");
    assert_eq!(again.header("content-type"), first.header("content-type"));
    assert_eq!(line.app.count(FACTS).await, 2);
}

#[actix_web::test]
async fn another_body_under_the_same_key_is_refused_and_undone() {
    let line = Line::with_joints(1).await;
    let path = "/joints/J-1/events";
    send(&line.app, &line.crew, path, &welded(0).0, "k-1").await.expect(201);

    let other = send(&line.app, &line.crew, path, &damage_found(5).0, "k-1").await;

    other.problem(422, "IDEMPOTENCY_KEY_REUSED");
    assert_eq!(line.app.count(FACTS).await, 1);
    send(&line.app, &line.crew, path, &damage_found(5).0, "k-2").await.expect(201);
}

#[actix_web::test]
async fn a_refusal_is_replayed_too() {
    let line = Line::with_joints(1).await;
    let body = json!({ "joints": ["J-1"] });
    let path = "/backfill-releases?validate_only=true";
    let first = send(&line.app, &line.qa, path, &body, "k-1").await;
    line.makes_ready("J-1").await;
    let again = send(&line.app, &line.qa, path, &body, "k-1").await;
    assert_eq!((first.status, again.status), (409, 409));
    assert_eq!(first.body, again.body);
    assert_eq!(send(&line.app, &line.qa, path, &body, "k-2").await.status, 200);
}

#[actix_web::test]
async fn keys_belong_to_their_sender() {
    let line = Line::with_joints(1).await;
    let path = "/joints/J-1/events";
    send(&line.app, &line.crew, path, &welded(0).0, "k-1").await.expect(201);
    send(&line.app, &line.inspector, path, &passed_test(5).0, "k-1").await.expect(201);
}

#[actix_web::test]
async fn a_signed_release_is_replayed_though_its_nonce_is_used() {
    let line = Line::with_ready_joint().await;
    let nonce = line.qa.nonce(&json!({ "joints": ["J-1"] })).await;
    let signature = json!({
        "nonce": nonce, "password": harness::actor::PASSWORD, "meaning": "released for backfill",
    });
    let body = json!({ "joints": ["J-1"], "signature": signature });
    let first = send(&line.app, &line.qa, "/backfill-releases", &body, "k-1").await.expect(201);
    let again = send(&line.app, &line.qa, "/backfill-releases", &body, "k-1").await.expect(201);
    assert_eq!(first, again);
    assert_eq!(line.app.count("SELECT count(*) FROM backfill_releases").await, 1);
}

#[actix_web::test]
async fn a_malformed_key_is_refused_before_anything_is_done() {
    let line = Line::with_joints(1).await;
    let answer = send(&line.app, &line.crew, "/joints/J-1/events", &welded(0).0, "a b").await;
    answer.problem(400, "IDEMPOTENCY_KEY_MALFORMED");
    assert_eq!(line.app.count(FACTS).await, 0);
}

#[actix_web::test]
async fn strangers_keep_no_answers() {
    let line = Line::with_joints(1).await;
    let path = "/joints/J-1/events";
    let answer = send(&line.app, &line.stranger, path, &welded(0).0, "k-1").await;
    answer.problem(404, "NOT_FOUND");
    assert_eq!(line.app.count("SELECT count(*) FROM idempotency_keys").await, 0);
}

#[actix_web::test]
async fn an_answer_is_kept_for_thirty_days() {
    let line = Line::with_joints(1).await;
    let path = "/joints/J-1/events";
    send(&line.app, &line.crew, path, &welded(0).0, "k-1").await.expect(201);
    let kept = "SELECT count(*) FROM idempotency_keys";
    line.waits(TimeDelta::days(30));
    app::upkeep::clean(&line.app.worker).await.unwrap();
    assert_eq!(line.app.count(kept).await, 1);
    line.waits(TimeDelta::seconds(1));
    app::upkeep::clean(&line.app.worker).await.unwrap();
    assert_eq!(line.app.count(kept).await, 0);
}

/// Serial repeats in an ordinary run; `JOINTWARD_DUPLICATES` asks for another number.
const DUPLICATES: usize = 500;

fn duplicates() -> usize {
    let asked = std::env::var("JOINTWARD_DUPLICATES").ok().and_then(|it| it.parse().ok());
    asked.unwrap_or(DUPLICATES)
}

#[actix_web::test]
async fn one_after_the_other_duplicates_have_one_effect_and_one_answer() {
    let line = Line::with_joints(1).await;
    let path = "/joints/J-1/events";
    let fact = welded(0).0;
    let first = send(&line.app, &line.crew, path, &fact, "k").await.expect(201);
    for _ in 0..duplicates() {
        let again = send(&line.app, &line.crew, path, &fact, "k").await.expect(201);
        assert_eq!(first, again);
    }
    assert_eq!(line.app.count(FACTS).await, 1);
}

#[actix_web::test]
async fn eight_at_once_have_one_effect_and_one_answer() {
    let line = Line::with_joints(1).await;
    let path = "/joints/J-1/events";
    let rounds = duplicates() / 10;
    for round in 0..rounds {
        let (fact, key) =
            (damage_found(i64::try_from(round).unwrap() % 500).0, format!("k-{round}"));
        let at_once = (0..8).map(|_| send(&line.app, &line.crew, path, &fact, &key));
        let answers = futures_util::future::join_all(at_once).await;
        let mut given: Vec<&Answer> = answers.iter().filter(|it| it.status != 409).collect();
        for waiting in answers.iter().filter(|it| it.status == 409) {
            assert_eq!(waiting.body["code"], "IDEMPOTENCY_KEY_IN_USE", "{:#}", waiting.body);
            assert_eq!(waiting.header("retry-after"), "1");
        }
        let first = given.pop().unwrap();
        assert_eq!(first.status, 201, "{:#}", first.body);
        assert!(given.iter().all(|it| it.status == 201 && it.body == first.body));
    }
    assert_eq!(line.app.count(FACTS).await, i64::try_from(rounds).unwrap());
}
