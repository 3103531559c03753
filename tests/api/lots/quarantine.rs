//! A lot turns out to be bad: quarantine, recall and lift.

use harness::{
    Answer, Line, Person,
    fact::{everything, prepared, primed, wrapped_inner},
    minute,
};
use serde_json::{Value, json};

use super::{line_in_all_stages, numbers, places, traced};

async fn holds(person: &Person, lot: &str, order: Value) -> Answer {
    person.posts(&format!("/stock/lots/{lot}/quarantine"), order).await
}

async fn lifts(person: &Person, lot: &str, order: Value) -> Answer {
    person.posts(&format!("/stock/lots/{lot}/lift"), order).await
}

fn recall() -> Value {
    json!({ "reason": "adhesive fails in the laboratory", "from": minute(0) })
}

/// Runs what a quarantine or its lift asked for.
async fn follows(line: &Line, lot: &str) {
    app::lots::follow_recall(&line.app.worker, line.project, lot).await.unwrap();
}

const ASKED: &str = "SELECT count(*) FROM apalis.jobs WHERE job_type = 'follow_recall'";
const WARNED: &str = "SELECT count(*) FROM warnings
    WHERE kind = 'recalled_lot_in_use' AND subject = 'L-INNER' AND severity = 'urgent'
      AND cleared_at IS NULL";

#[actix_web::test]
async fn one_call_recalls_a_lot_and_tells_where_it_is() {
    let line = line_in_all_stages().await;

    let told = holds(&line.materials, "L-INNER", recall()).await.expect(201);

    assert_eq!(places(&told["summary"]), [3, 0, 1, 1, 1]);
    assert_eq!(places(&told["used_in_quarantine"]), [3, 0, 1, 1, 1]);
    assert_eq!(numbers(&told), ["J-1", "J-2", "J-3"]);
    assert_eq!(told["items"][0]["uses"][0]["in_quarantine"], true);
    assert_eq!(told["quarantine"]["reason"], "adhesive fails in the laboratory");
    assert_eq!(told["quarantine"]["decided_by"], json!(line.materials.user));
    assert_eq!(line.app.count(WARNED).await, 1);
    assert_eq!(line.app.count(ASKED).await, 1, "the rest is done later");

    let warnings = line.client.gets("/warnings").await.expect(200);
    let detail = warnings["items"][0]["detail"].as_str().unwrap();
    assert!(detail.contains("1 joints under the soil, on 1 that are released"), "{detail}");
}

#[actix_web::test]
async fn every_joint_with_a_recalled_lot_gets_its_nonconformance() {
    let line = line_in_all_stages().await;
    holds(&line.qa, "L-INNER", recall()).await.expect(201);

    follows(&line, "L-INNER").await;
    follows(&line, "L-INNER").await;

    let opened = line.nonconformances().await;
    let opened = opened.as_array().unwrap();
    let severities: Vec<_> = opened.iter().map(|it| (&it["joint"], &it["severity"])).collect();
    assert_eq!(severities.len(), 3, "once each, however often it runs: {opened:#?}");
    for it in opened {
        let buried = it["joint"] == "J-1" || it["joint_number"] == "J-1";
        let severity = if buried { "critical" } else { "major" };
        assert_eq!((&it["code"], &it["severity"]), (&json!("LOT_RECALLED"), &json!(severity)));
    }
    let released = line.qa.sees("J-2").await;
    assert_eq!((&released["stage"], &released["flags"]), (&json!("released"), &json!(["blocked"])));
    let blocked = line.qa.gets("/joints?blocked=true").await.expect(200);
    assert_eq!(numbers(&blocked), ["J-1", "J-2", "J-3"], "the list knows it too");
}

#[actix_web::test]
async fn a_joint_with_a_recalled_lot_is_not_released() {
    let line = Line::with_ready_joint().await;
    holds(&line.qa, "L-INNER", recall()).await.expect(201);
    assert_eq!(line.qa.releases("J-1").await.refusal(), ["LOT_QUARANTINED"]);
    let found = line.qa.sees("J-1").await["findings"].clone();
    assert!(harness::app::codes(&found).contains(&"LOT_RECALLED".to_owned()), "{found:#}");
}

#[actix_web::test]
async fn a_hold_from_now_on_says_nothing_of_earlier_uses() {
    let line = Line::with_ready_joint().await;
    let told = holds(&line.qa, "L-INNER", json!({ "reason": "crushed rolls" })).await.expect(201);
    assert_eq!(places(&told["summary"]), [1, 0, 0, 0, 1]);
    assert_eq!(places(&told["used_in_quarantine"]), [0; 5]);
    assert_eq!(line.app.count(WARNED).await, 0);
    follows(&line, "L-INNER").await;
    assert_eq!(line.nonconformances().await, json!([]));
    line.qa.releases("J-1").await.expect(201);
}

#[actix_web::test]
async fn what_is_used_while_it_is_held_shuts_the_gate_and_is_no_recall() {
    let line = Line::with_joints(1).await;
    let mut facts = everything();
    facts.retain(|fact| fact.0["layer"] != "inner");
    line.records("J-1", &facts).await;
    holds(&line.qa, "L-INNER", json!({ "reason": "crushed rolls" })).await.expect(201);
    line.waits(chrono::TimeDelta::minutes(10));
    line.crew.records("J-1", &wrapped_inner(605)).await.expect(201);
    let codes = line.qa.releases("J-1").await.refusal();
    assert!(codes.contains(&"LOT_QUARANTINED".to_owned()), "{codes:?}");
    follows(&line, "L-INNER").await;
    let opened = line.nonconformances().await.to_string();
    assert!(!opened.contains("LOT_RECALLED"), "{opened}");
}

#[actix_web::test]
async fn a_lift_ends_it_and_an_unfounded_one_takes_it_back() {
    let line = line_in_all_stages().await;
    holds(&line.materials, "L-INNER", recall()).await.expect(201);
    follows(&line, "L-INNER").await;
    line.waits(chrono::TimeDelta::minutes(5));

    let lift = json!({ "reason": "second laboratory: sound", "unfounded": true });
    let lot = lifts(&line.qa, "L-INNER", lift).await.expect(200);
    follows(&line, "L-INNER").await;

    assert_eq!(lot["quarantines"][0]["lift_reason"], "second laboratory: sound");
    assert_eq!(places(&traced(&line, "L-INNER").await["used_in_quarantine"]), [0; 5]);
    for it in line.nonconformances().await.as_array().unwrap() {
        assert_eq!(it["status"], "lapsed");
    }
    assert_eq!(line.app.count(WARNED).await, 0);
    assert_eq!(line.qa.sees("J-2").await["flags"], json!([]));
    let history = "SELECT count(*) FROM setup_history WHERE kind = 'lot' AND code = 'L-INNER'";
    assert_eq!(line.app.count(history).await, 3, "set up, held, lifted");
}

#[actix_web::test]
async fn a_plain_lift_leaves_what_was_used_meanwhile() {
    let line = Line::with_ready_joint().await;
    holds(&line.qa, "L-INNER", recall()).await.expect(201);
    lifts(&line.qa, "L-INNER", json!({ "reason": "the rest is sorted out" })).await.expect(200);
    assert_eq!(line.qa.releases("J-1").await.refusal(), ["LOT_QUARANTINED"]);
    assert!(traced(&line, "L-INNER").await["quarantine"].is_null());
}

#[actix_web::test]
async fn a_recalled_lot_that_is_cleaned_off_lets_its_nonconformance_lapse() {
    let line = line_in_all_stages().await;
    holds(&line.qa, "L-INNER", recall()).await.expect(201);
    follows(&line, "L-INNER").await;
    line.inspector.records("J-3", &prepared(601)).await.expect(201);
    let open = line.qa.gets("/nonconformances?status=open").await.expect(200);
    assert_eq!(open["items"].as_array().unwrap().len(), 2);
    let told = traced(&line, "L-INNER").await;
    assert_eq!(places(&told["used_in_quarantine"]), [3, 1, 1, 1, 0]);
}

#[actix_web::test]
async fn what_makes_no_sense_is_refused() {
    let line = Line::with_joints(1).await;
    let good = || json!({ "reason": "crushed rolls" });
    holds(&line.qa, "L-NONE", good()).await.problem(404, "NOT_FOUND");
    let ahead = json!({ "reason": "crushed rolls", "from": minute(601) });
    let refused = holds(&line.qa, "L-INNER", ahead).await.problem(422, "INVALID");
    assert_eq!(refused["errors"][0]["pointer"], "#/from");
    holds(&line.qa, "L-INNER", json!({ "reason": "x" })).await.problem(422, "INVALID");
    lifts(&line.qa, "L-INNER", good()).await.problem(409, "NOT_QUARANTINED");
    for (person, may_hold, may_lift) in [
        (&line.materials, true, false),
        (&line.qa, true, true),
        (&line.crew, false, false),
        (&line.inspector, false, false),
    ] {
        let (held, lifted) = (
            holds(person, "L-NONE", good()).await.status,
            lifts(person, "L-NONE", good()).await.status,
        );
        assert_eq!((held != 403, lifted != 403), (may_hold, may_lift), "{}", person.email);
    }
}

#[actix_web::test]
async fn the_same_order_again_has_one_effect() {
    let line = Line::with_joints(1).await;
    let id = app::new_id(line.app.now());
    let order = json!({ "id": id, "reason": "crushed rolls" });
    holds(&line.qa, "L-INNER", order.clone()).await.expect(201);
    line.waits(chrono::TimeDelta::minutes(1));
    holds(&line.qa, "L-INNER", order).await.expect(200);
    let other = json!({ "id": id, "reason": "torn rolls" });
    holds(&line.qa, "L-INNER", other).await.problem(409, "ID_REUSED");
    let again = json!({ "reason": "crushed rolls" });
    holds(&line.qa, "L-INNER", again).await.problem(409, "ALREADY_QUARANTINED");
    // What is worse than was thought goes further back.
    holds(&line.qa, "L-INNER", recall()).await.expect(201);
    let lot = line.qa.gets("/stock/lots/L-INNER").await.expect(200);
    assert_eq!(lot["quarantines"].as_array().unwrap().len(), 2);
    let lift = json!({ "reason": "all sorted out" });
    let lot = lifts(&line.qa, "L-INNER", lift).await.expect(200);
    assert!(lot["quarantines"].as_array().unwrap().iter().all(|it| it["until"].is_string()));
}

#[actix_web::test]
async fn nobody_lifts_a_quarantine_by_replacing_the_lot() {
    let line = Line::with_joints(1).await;
    line.crew.records("J-1", &primed(30)).await.expect(201);
    holds(&line.qa, "L-INNER", json!({ "reason": "crushed rolls" })).await.expect(201);
    let path = line.materials.path("/stock/lots/L-INNER");
    let puts = async |body: Value| {
        let token = format!("Bearer {}", line.materials.token().await);
        let request = actix_web::test::TestRequest::put()
            .uri(&path)
            .insert_header(("authorization", token))
            .insert_header(("if-match", "\"v2\""))
            .set_json(body);
        line.app.call(request).await
    };
    let mut lot = line.materials.gets("/stock/lots/L-INNER").await.expect(200);
    lot.as_object_mut().unwrap().remove("version");
    let mut without = lot.clone();
    without.as_object_mut().unwrap().remove("quarantines");
    let refused = puts(without).await.problem(422, "INVALID");
    assert_eq!(refused["errors"][0]["code"], "CHANGED_ELSEWHERE");
    puts(lot).await.expect(200);
}
