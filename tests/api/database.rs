//! The last wall: what the database itself refuses, also to hand-written SQL.

use harness::{
    Fact, Line,
    fact::{coating, damage_found, failed_test, passed_test, wrapped_outer},
};
use serde_json::json;
use sqlx::postgres::PgQueryResult;
use uuid::Uuid;

/// Inserts a release of `joint` on the fact `test`, as the application's role and around
/// everything that decides.
async fn insert(line: &Line, joint: &str, test: &Fact) -> Result<PgQueryResult, sqlx::Error> {
    line.qa.nonce(&json!({ "joints": [joint] })).await;
    let statement = "
        WITH c AS (SELECT * FROM signing_challenges ORDER BY created_at DESC LIMIT 1),
             s AS (INSERT INTO signatures (project_id, id, signer_id, printed_name, signed_at,
                                           meaning, auth_method, challenge_id, subject_hash)
                   SELECT project_id, gen_random_uuid(), user_id, 'A', now(), 'none', 'password',
                          id, subject_hash FROM c
                   RETURNING id)
        INSERT INTO backfill_releases (project_id, id, joint_id, holiday_test_id,
                                       required_voltage_kv, signature_id, released_at, chain_seq,
                                       chain_head, certificate)
        SELECT j.project_id, gen_random_uuid(), j.id, $2, 12.5, s.id, now(), j.chain_seq,
               j.chain_head, '{}'
          FROM joints j, s WHERE j.joint_number = $1";
    let test: Uuid = test.id().parse().unwrap();
    let scope = store::Scope { project: Some(line.project), user: None };
    let mut tx = store::begin(&line.app.database.application, scope).await.unwrap();
    let done = sqlx::query(statement).bind(joint).bind(test).execute(&mut *tx).await?;
    tx.commit().await?;
    Ok(done)
}

/// The release of a joint with `facts` on `test` must be refused by `constraint`.
async fn check(facts: &[Fact], test: &Fact, constraint: &str) {
    let line = Line::with_joints(1).await;
    line.records("J-1", facts).await;
    refused(insert(&line, "J-1", test).await, constraint);
    assert_eq!(line.app.count("SELECT count(*) FROM backfill_releases").await, 0);
}

#[track_caller]
fn refused(result: Result<PgQueryResult, sqlx::Error>, constraint: &str) {
    let error = result.unwrap_err();
    let found = error.as_database_error().and_then(|error| error.constraint());
    assert_eq!(found, Some(constraint), "{error}");
}

fn coated_and(then: &[&Fact]) -> Vec<Fact> {
    coating().into_iter().chain(then.iter().map(|fact| (*fact).clone())).collect()
}

const NO_TEST: &str = "backfill_releases_holiday_test_check";

#[actix_web::test]
async fn a_release_on_a_valid_test_can_be_written() {
    let line = Line::with_joints(1).await;
    let test = passed_test(60);
    line.records("J-1", &coated_and(&[&test])).await;
    assert_eq!(insert(&line, "J-1", &test).await.unwrap().rows_affected(), 1);
}

#[actix_web::test]
async fn a_release_without_a_test_cannot_be_written() {
    let facts = coating();
    check(&facts, facts.last().unwrap(), NO_TEST).await;
    check(&facts, &passed_test(60), NO_TEST).await;
}

#[actix_web::test]
async fn a_release_on_a_failed_test_cannot_be_written() {
    let test = failed_test(60);
    check(&coated_and(&[&test]), &test, NO_TEST).await;
    let test = passed_test(60).with("holidays_found", 1);
    check(&coated_and(&[&test]), &test, NO_TEST).await;
}

#[actix_web::test]
async fn a_release_on_a_withdrawn_test_cannot_be_written() {
    let test = passed_test(60);
    let withdrawn = Fact::new("superseded", 70, json!({})).instead_of(&test);
    check(&coated_and(&[&test, &withdrawn]), &test, NO_TEST).await;
}

#[actix_web::test]
async fn a_release_on_a_stale_test_cannot_be_written() {
    let test = passed_test(60);
    for after in [damage_found(70), wrapped_outer(70), failed_test(70), damage_found(60)] {
        let facts = coated_and(&[&test, &after]);
        check(&facts, &test, "backfill_releases_stale_test_check").await;
    }
}

#[actix_web::test]
async fn a_release_on_a_test_of_low_voltage_cannot_be_written() {
    let test = passed_test(60).with("voltage_kv", 12.499);
    check(&coated_and(&[&test]), &test, "backfill_releases_voltage_check").await;
}

#[actix_web::test]
async fn a_release_on_an_uncalibrated_detector_cannot_be_written() {
    let test = passed_test(60).with("detector", "HD-OLD");
    check(&coated_and(&[&test]), &test, "backfill_releases_detector_check").await;
}

#[actix_web::test]
async fn a_release_on_a_test_from_the_future_cannot_be_written() {
    let test = passed_test(603);
    check(&coated_and(&[&test]), &test, "backfill_releases_test_time_check").await;
}

#[actix_web::test]
async fn a_release_on_the_test_of_another_joint_cannot_be_written() {
    let line = Line::with_joints(2).await;
    let test = passed_test(60);
    line.records("J-1", &coated_and(&[&test])).await;
    line.records("J-2", &coating()).await;
    refused(insert(&line, "J-2", &test).await, NO_TEST);
}

/// `statement` must be refused, whatever it would do.
async fn check_refused(line: &Line, statement: &'static str) {
    let result = sqlx::raw_sql(statement).execute(&line.app.database.pool).await;
    let error = result.unwrap_err();
    let code = error.as_database_error().and_then(|error| error.code().map(String::from));
    assert_eq!(code.as_deref(), Some("23001"), "{statement}: {error}");
}

#[actix_web::test]
async fn facts_never_vanish_or_change() {
    let line = Line::with_ready_joint().await;
    for statement in [
        "UPDATE facts SET late = true",
        "UPDATE facts SET record = record",
        "DELETE FROM facts",
        "TRUNCATE facts CASCADE",
    ] {
        check_refused(&line, statement).await;
    }
    assert_eq!(line.app.count("SELECT count(*) FROM facts").await, 7);
}

#[actix_web::test]
async fn releases_and_signatures_never_vanish_or_change() {
    let line = Line::with_ready_joint().await;
    line.qa.releases("J-1").await.expect(201);
    for statement in [
        "UPDATE backfill_releases SET required_voltage_kv = 1",
        "UPDATE backfill_releases SET certificate = '{}'",
        "DELETE FROM backfill_releases",
        "UPDATE signatures SET printed_name = 'B'",
        "DELETE FROM signatures",
    ] {
        check_refused(&line, statement).await;
    }
}

#[actix_web::test]
async fn a_contradiction_is_never_taken_back() {
    let line = Line::with_ready_joint().await;
    line.qa.releases("J-1").await.expect(201);
    line.crew.records("J-1", &damage_found(300)).await.expect(201);
    check_refused(
        &line,
        "UPDATE backfill_releases SET contradicted_at = NULL, contradicted_by = NULL",
    )
    .await;
}

#[actix_web::test]
async fn a_signature_under_what_was_not_shown_to_the_signer_cannot_be_written() {
    let line = Line::with_joints(1).await;
    line.qa.nonce(&json!({ "joints": ["J-1"] })).await;
    for (signer, hash) in [("user_id", "'\\x00'::bytea"), ("$1::uuid", "subject_hash")] {
        let statement = format!(
            "INSERT INTO signatures (project_id, id, signer_id, printed_name, signed_at, meaning,
                                     auth_method, challenge_id, subject_hash)
             SELECT project_id, gen_random_uuid(), {signer}, 'A', now(), $1, 'password', id, {hash}
               FROM signing_challenges"
        );
        let scope = store::Scope { project: Some(line.project), user: None };
        let mut tx = store::begin(&line.app.database.application, scope).await.unwrap();
        let statement = sqlx::query(sqlx::AssertSqlSafe(statement)).bind(&line.inspector.user);
        refused(statement.execute(&mut *tx).await, "signatures_subject_check");
    }
}
