//! A signature is a fresh proof of identity over exactly what was shown.

use chrono::TimeDelta;
use harness::{
    Line,
    actor::PASSWORD,
    fact::{lowered, passed_test},
};
use serde_json::{Value, json};

fn subject() -> Value {
    json!({ "joints": ["J-1"] })
}

async fn releases(line: &Line) -> i64 {
    line.app.count("SELECT count(*) FROM backfill_releases").await
}

#[actix_web::test]
async fn a_challenge_is_signed_once() {
    let line = Line::with_ready_joint().await;
    let nonce = line.qa.nonce(&subject()).await;
    line.qa.signs(&subject(), &nonce, PASSWORD).await.expect(201);

    line.qa.signs(&subject(), &nonce, PASSWORD).await.problem(409, "NONCE_USED");
    assert_eq!(releases(&line).await, 1);
}

#[actix_web::test]
async fn a_challenge_is_good_for_five_minutes() {
    let line = Line::with_ready_joint().await;
    let nonce = line.qa.nonce(&subject()).await;
    line.waits(TimeDelta::minutes(5) + TimeDelta::seconds(1));

    line.qa.signs(&subject(), &nonce, PASSWORD).await.problem(401, "NONCE_INVALID");
    assert_eq!(releases(&line).await, 0);
}

#[actix_web::test]
async fn a_fact_in_between_voids_the_challenge() {
    let line = Line::with_ready_joint().await;
    let nonce = line.qa.nonce(&subject()).await;
    line.inspector.records("J-1", &passed_test(599)).await.expect(201);

    let answer = line.qa.signs(&subject(), &nonce, PASSWORD).await;
    answer.problem(412, "VERSION_IS_STALE");
    assert_eq!(releases(&line).await, 0);
}

#[actix_web::test]
async fn other_joints_than_those_shown_are_not_signed() {
    let line = Line::with_joints(2).await;
    line.makes_ready("J-1").await;
    line.makes_ready("J-2").await;
    let nonce = line.qa.nonce(&subject()).await;

    let other = json!({ "joints": ["J-2"] });
    line.qa.signs(&other, &nonce, PASSWORD).await.problem(412, "VERSION_IS_STALE");
    assert_eq!(releases(&line).await, 0);
}

#[actix_web::test]
async fn a_wrong_password_signs_nothing_and_leaves_the_challenge() {
    let line = Line::with_ready_joint().await;
    let nonce = line.qa.nonce(&subject()).await;
    let wrong = line.qa.signs(&subject(), &nonce, "a long walk along the beach").await;
    wrong.problem(401, "WRONG_PASSWORD");
    assert_eq!(releases(&line).await, 0);

    line.qa.signs(&subject(), &nonce, PASSWORD).await.expect(201);
}

#[actix_web::test]
async fn nobody_signs_the_challenge_of_another() {
    let line = Line::with_ready_joint().await;
    let nonce = line.qa.nonce(&subject()).await;

    let answer = line.wrapping_qa.signs(&subject(), &nonce, PASSWORD).await;
    answer.problem(401, "NONCE_INVALID");
    assert_eq!(releases(&line).await, 0);
}

#[actix_web::test]
async fn a_release_without_a_signature_is_refused() {
    let line = Line::with_ready_joint().await;
    let answer = line.qa.posts("/backfill-releases", subject()).await.problem(422, "INVALID");
    assert_eq!(answer["errors"][0]["pointer"], "#/signature");
}

#[actix_web::test]
async fn what_is_signed_is_shown_before() {
    let line = Line::with_ready_joint().await;
    let challenge = line.qa.asks_to_sign(&subject()).await.expect(201);
    let shown = &challenge["joints"][0];
    assert_eq!((&shown["joint"], &shown["releasable"]), (&json!("J-1"), &json!(true)));
    assert_eq!(shown["chain_head"], line.qa.sees("J-1").await["chain_head"]);

    let nonce = challenge["nonce"].as_str().unwrap();
    let answer = line.qa.signs(&subject(), nonce, PASSWORD).await.expect(201);
    let path = format!("/backfill-releases/{}", answer["release"].as_str().unwrap());
    let release = line.client.gets(&path).await.expect(200).to_string();
    assert!(release.contains(challenge["subject_hash"].as_str().unwrap()), "{release}");
    assert!(release.contains("Name of qa"), "{release}");
    line.crew.records("J-1", &lowered(601)).await.expect(201);
}
