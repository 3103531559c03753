//! From weld to backfill, and every reason against a release.

use chrono::TimeDelta;
use harness::{
    Fact, Line,
    app::texts,
    fact::{
        backfilled, coating, damage_found, everything, failed_test, lowered, passed_test, primed,
        repaired, wrapped_inner, wrapped_outer,
    },
};
use serde_json::json;

#[actix_web::test]
async fn a_clean_joint_goes_from_weld_to_backfill() {
    let line = Line::with_joints(1).await;
    let stages = ["welded", "accepted", "prepared", "primed", "primed", "wrapped", "tested"];
    let steps = [
        "accept_weld",
        "prepare_surface",
        "apply_layer",
        "apply_layer",
        "apply_layer",
        "holiday_test",
        "release",
    ];
    for ((fact, stage), step) in everything().iter().zip(stages).zip(steps) {
        let recorded = line.inspector.records("J-1", fact).await.expect(201);
        assert_eq!(recorded["joint"]["stage"], stage);
        assert_eq!(recorded["joint"]["next_steps"][0]["action"], step);
        assert_eq!(recorded["findings"], json!([]));
    }
    assert_eq!(line.client.sees("J-1").await["required_voltage_kv"], 12.5);

    let released = line.qa.releases("J-1").await.expect(201);
    assert_eq!(released["status"], "released");
    let path = format!("/backfill-releases/{}", released["release"].as_str().unwrap());
    line.client.gets(&path).await.expect(200);
    let joint = line.crew.sees("J-1").await;
    assert_eq!(joint["stage"], "released");
    assert_eq!(joint["next_steps"][0]["action"], "lower");

    line.crew.records_all("J-1", &[lowered(601), backfilled(602)]).await;
    let joint = line.client.sees("J-1").await;
    assert_eq!((&joint["stage"], &joint["flags"]), (&json!("backfilled"), &json!([])));
    assert_eq!(joint["release"], released["release"]);
    assert_eq!(line.nonconformances().await, json!([]));
}

/// Asks for the release of a joint with `facts`; it must be refused for exactly `reasons`.
async fn check(facts: &[Fact], reasons: &[&str]) {
    let line = Line::with_joints(1).await;
    line.records("J-1", facts).await;

    assert_eq!(line.qa.releases("J-1").await.refusal(), reasons);

    assert!(line.qa.sees("J-1").await["release"].is_null());
    assert_eq!(line.app.count("SELECT count(*) FROM backfill_releases").await, 0);
}

#[actix_web::test]
async fn without_a_test_nothing_is_released() {
    check(&coating(), &["HOLIDAY_TEST_MISSING"]).await;
}

/// [`everything`] with other facts instead of the test.
fn coated_and(then: impl IntoIterator<Item = Fact>) -> Vec<Fact> {
    coating().into_iter().chain(then).collect()
}

#[actix_web::test]
async fn a_failed_test_releases_nothing() {
    let reasons = ["HOLIDAY_TEST_FAILED", "HOLIDAYS_OPEN"];
    check(&coated_and([failed_test(60)]), &reasons).await;
}

#[actix_web::test]
async fn a_test_before_another_wrap_releases_nothing() {
    check(&coated_and([passed_test(60), wrapped_outer(70)]), &["HOLIDAY_TEST_STALE"]).await;
}

#[actix_web::test]
async fn a_test_before_a_damage_releases_nothing() {
    let reasons = ["HOLIDAY_TEST_STALE", "DAMAGE_OPEN"];
    check(&coated_and([passed_test(60), damage_found(70)]), &reasons).await;
}

#[actix_web::test]
async fn a_test_before_a_repair_releases_nothing() {
    let facts = coated_and([passed_test(60), damage_found(70), repaired(80)]);
    check(&facts, &["HOLIDAY_TEST_STALE"]).await;
}

#[actix_web::test]
async fn a_test_under_the_required_voltage_releases_nothing() {
    let low = passed_test(60).with("voltage_kv", 12.499);
    check(&coated_and([low]), &["HOLIDAY_TEST_VOLTAGE_LOW"]).await;
}

#[actix_web::test]
async fn a_detector_out_of_its_calibration_releases_nothing() {
    let old = passed_test(60).with("detector", "HD-OLD");
    check(&coated_and([old]), &["DETECTOR_NOT_CALIBRATED"]).await;
}

#[actix_web::test]
async fn a_missing_layer_is_named() {
    let mut facts = everything();
    facts.retain(|fact| fact.0["layer"] != "outer");
    let line = Line::with_joints(1).await;
    line.records("J-1", &facts).await;

    let refused = line.qa.releases("J-1").await.problem(409, "RELEASE_REFUSED");

    let condition = &refused["blocking_conditions"][0];
    assert_eq!(
        (&condition["gate"], &condition["code"]),
        (&json!("layers"), &json!("LAYER_MISSING"))
    );
    assert!(condition["detail"].as_str().unwrap().contains("outer wrap"));
}

#[actix_web::test]
async fn an_expired_lot_releases_nothing() {
    let mut facts = everything();
    facts[4] = wrapped_inner(40).with("lots", json!(["L-EXPIRED"]));
    check(&facts, &["LOT_EXPIRED"]).await;
}

#[actix_web::test]
async fn work_of_the_unqualified_releases_nothing() {
    let mut facts = everything();
    facts[3] = primed(30).with("applicator", "P-NOVICE");
    facts[6] = passed_test(60).with("inspector", "P-CREW");
    check(&facts, &["NOT_QUALIFIED"]).await;
}

#[actix_web::test]
async fn every_reason_is_told_at_once() {
    let mut facts = everything();
    facts.remove(1);
    facts[2] = primed(30).with("lots", json!(["L-UNHEARD-OF"])).without("ambient");
    facts.pop();
    let reasons =
        ["WELD_NOT_ACCEPTED", "HOLIDAY_TEST_MISSING", "LOT_UNKNOWN", "NO_AMBIENT_READING"];
    check(&facts, &reasons).await;
}

#[actix_web::test]
async fn a_test_is_good_for_48_hours_to_the_second() {
    let line = Line::with_ready_joint().await;
    let subject = json!({ "joints": ["J-1"] });
    line.waits(TimeDelta::minutes(60 - 600) + TimeDelta::hours(48));
    let answer = line.qa.asks_about_release(&subject).await.expect(200);
    assert_eq!(answer["status"], "releasable");

    line.waits(TimeDelta::seconds(1));
    assert_eq!(line.qa.releases("J-1").await.refusal(), ["HOLIDAY_TEST_TOO_OLD"]);
}

#[actix_web::test]
async fn who_wrapped_the_joint_cannot_release_it() {
    let line = Line::with_joints(1).await;
    let mut facts = everything();
    facts[5] = wrapped_outer(50).with("applicator", "P-QA");
    line.records("J-1", &facts).await;

    let refused = line.wrapping_qa.releases("J-1").await.refusal();
    assert_eq!(refused, ["APPLICATOR_CANNOT_RELEASE"]);
    line.qa.releases("J-1").await.expect(201);
}

#[actix_web::test]
async fn a_stretch_is_answered_joint_by_joint() {
    let line = Line::with_joints(4).await;
    line.makes_ready("J-1").await;
    line.records("J-2", &coating()).await;
    line.makes_ready("J-3").await;
    line.makes_ready("J-4").await;
    let stretch = json!({ "kp_from": "0+010", "kp_to": 0.036, "section": "S1" });

    let items = line.qa.releases_all(&stretch).await.expect(207)["items"].clone();

    assert_eq!(texts(&items, "joint"), ["J-1", "J-2", "J-3"]);
    let statuses: Vec<_> = (0..3).map(|index| items[index]["status"].clone()).collect();
    assert_eq!(statuses, ["released", "refused", "released"]);
    assert_eq!(items[1]["blocking_conditions"][0]["code"], "HOLIDAY_TEST_MISSING");
    assert_eq!(line.qa.sees("J-4").await["stage"], "tested", "it lies outside the stretch");
}

#[actix_web::test]
async fn a_dry_run_answers_like_the_release_and_releases_nothing() {
    let line = Line::with_joints(3).await;
    line.makes_ready("J-1").await;
    line.records("J-2", &coated_and([passed_test(60), damage_found(70)])).await;
    let subject = json!({ "joints": ["J-1", "J-2", "J-3"] });

    let dry = line.qa.asks_about_release(&subject).await.expect(207);
    assert_eq!(line.app.count("SELECT count(*) FROM backfill_releases").await, 0);
    let real = line.qa.releases_all(&subject).await.expect(207);

    assert_eq!(dry["items"][0]["status"], "releasable");
    assert_eq!(real["items"][0]["status"], "released");
    for index in [1, 2] {
        assert_eq!(dry["items"][index], real["items"][index]);
    }
}

#[actix_web::test]
async fn a_released_joint_is_not_released_twice() {
    let line = Line::with_ready_joint().await;
    let first = line.qa.releases("J-1").await.expect(201);
    let again = line.qa.releases("J-1").await.expect(200);
    assert_eq!(again["status"], "already_released");
    assert_eq!(again["release"], first["release"]);
    assert_eq!(line.app.count("SELECT count(*) FROM backfill_releases").await, 1);
}

/// A tablet whose clock is a day ahead: its test would cover what is found and repaired tomorrow.
#[actix_web::test]
async fn a_test_from_the_future_covers_no_repair() {
    let line = Line::with_joints(1).await;
    let day = 24 * 60;
    let ahead = passed_test(600 + day);
    line.records("J-1", &coating()).await;
    line.records("J-1", std::slice::from_ref(&ahead)).await;
    line.waits(TimeDelta::minutes(10));
    line.records("J-1", &[damage_found(605), repaired(608)]).await;
    assert_eq!(line.qa.releases("J-1").await.refusal(), ["HOLIDAY_TEST_AHEAD_OF_CLOCK"]);

    line.waits(TimeDelta::days(2));
    let refusal = line.qa.releases("J-1").await.refusal();
    assert!(refusal.contains(&"HOLIDAY_TEST_AHEAD_OF_CLOCK".to_owned()), "{refusal:?}");

    // With its true time it is a test before the damage, and a new one is asked for.
    let corrected = passed_test(600).instead_of(&ahead);
    line.records("J-1", &[corrected]).await;
    assert!(line.qa.releases("J-1").await.refusal().contains(&"HOLIDAY_TEST_STALE".to_owned()));
}
