//! Handing out: first expired, first out (common practice, no source).

use chrono::TimeDelta;
use serde_json::{Value, json};

use super::{Site, blocking, parts};

fn of_material(quantity: f64) -> Value {
    json!({ "material": "INNER", "quantity": quantity, "from": "YARD", "to": "CREW-A1" })
}

fn of_lot(lot: &str, quantity: f64) -> Value {
    json!({ "lot": lot, "quantity": quantity, "from": "YARD", "to": "CREW-A1" })
}

/// The yard with 10 of each lot, received in an order that is not theirs.
async fn stocked() -> Site {
    let site = Site::new().await;
    for lot in ["L-EVER", "L-LATER", "L-EXPIRED", "L-SOON"] {
        site.receives(lot, 10.0, "YARD").await;
    }
    site
}

#[actix_web::test]
async fn what_expires_first_goes_first_over_as_many_lots_as_it_takes() {
    let site = stocked().await;
    let answer = site.moves("issue", of_material(25.0)).await.expect(201);
    let expected = [("L-SOON", 10.0), ("L-LATER", 10.0), ("L-EVER", 5.0)];
    assert_eq!(parts(&answer), expected.map(|(lot, quantity)| (lot.to_owned(), quantity)));
    assert_eq!(site.holds("CREW-A1", "L-SOON").await, 10.0);
    assert_eq!(site.holds("YARD", "L-EVER").await, 5.0);
    assert_eq!(site.holds("YARD", "L-EXPIRED").await, 10.0, "the expired lot stays");
    let ids = harness::app::texts(&answer["movements"], "id");
    assert_eq!(ids.len(), 3);
}

#[actix_web::test]
async fn an_issue_of_several_lots_sent_again_is_the_same_issue() {
    let site = stocked().await;
    let body = site.movement("issue", of_material(25.0));
    let first = site.line.crew.posts("/stock/movements", body.clone()).await.expect(201);
    let again = site.line.crew.posts("/stock/movements", body).await.expect(200);
    assert_eq!(first["movements"], again["movements"]);
    assert_eq!(site.holds("YARD", "L-EVER").await, 5.0);
}

#[actix_web::test]
async fn of_one_last_day_the_oldest_receipt_goes_first_then_the_code() {
    let site = Site::new().await;
    for lot in ["L-B", "L-A", "L-C"] {
        site.lot(lot, "INNER", Some("2026-07-31")).await;
    }
    site.receives("L-C", 1.0, "YARD").await;
    site.line.waits(TimeDelta::minutes(1));
    site.receives("L-B", 1.0, "YARD").await;
    site.receives("L-A", 1.0, "YARD").await;
    let proposal = site.reads("/stock/issue-proposal?material=INNER&quantity=3&from=YARD").await;
    assert_eq!(harness::app::texts(&proposal["lots"], "lot"), ["L-C", "L-A", "L-B"]);
    // Receipt breaks the tie, it is no rule: any of them expires first.
    site.moves("issue", of_lot("L-B", 1.0)).await.expect(201);
}

#[actix_web::test]
async fn the_proposal_is_what_an_issue_takes() {
    let site = stocked().await;
    let proposal = site.reads("/stock/issue-proposal?material=INNER&quantity=25&from=YARD").await;
    assert_eq!(proposal["enough"], true);
    assert_eq!(proposal["left"], 30.0);
    let issued = site.moves("issue", of_material(25.0)).await.expect(201);
    assert_eq!(parts(&json!({ "movements": proposal["lots"] })), parts(&issued));
    let proposal = site.reads("/stock/issue-proposal?material=INNER&quantity=25&from=YARD").await;
    assert_eq!(proposal["enough"], false);
    assert_eq!(proposal["left"], 5.0);
    for wrong in [
        "material=NONE&quantity=1&from=YARD",
        "material=INNER&quantity=1&from=scrap",
        "material=INNER&quantity=0&from=YARD",
    ] {
        let answer = site.line.client.gets(&format!("/stock/issue-proposal?{wrong}")).await;
        answer.problem(422, "INVALID");
    }
}

#[actix_web::test]
async fn another_lot_than_the_first_takes_a_reason() {
    let site = stocked().await;
    let problem = site.moves("issue", of_lot("L-LATER", 5.0)).await;
    let problem = problem.problem(422, "REASON_REQUIRED");
    assert!(problem["detail"].as_str().unwrap().contains("L-SOON"), "{problem:#}");
    let mut body = of_lot("L-LATER", 5.0);
    body["reason"] = json!("narrow rolls for the bends");
    let answer = site.moves("issue", body).await.expect(201);
    assert_eq!(answer["movements"][0]["chosen_against_order"], true);
    assert_eq!(answer["movements"][0]["reason"], "narrow rolls for the bends");
    let first = site.moves("issue", of_lot("L-SOON", 5.0)).await.expect(201);
    assert_eq!(first["movements"][0]["chosen_against_order"], false);
}

#[actix_web::test]
async fn an_expired_lot_is_refused_and_its_last_day_is_not() {
    let site = stocked().await;
    let problem = site.moves("issue", of_lot("L-EXPIRED", 1.0)).await;
    assert_eq!(blocking(&problem.problem(409, "ISSUE_REFUSED")), ["LOT_EXPIRED"]);
    site.lot("L-TODAY", "INNER", Some("2026-06-10")).await;
    site.receives("L-TODAY", 1.0, "YARD").await;
    site.moves("issue", of_lot("L-TODAY", 1.0)).await.expect(201);
    let balances = site.reads("/stock/balances?lot=L-EXPIRED").await;
    assert_eq!(balances["items"][0]["usable"], false);
    assert_eq!(balances["items"][0]["why_not"][0]["code"], "LOT_EXPIRED");
}

#[actix_web::test]
async fn the_last_day_ends_at_midnight_on_site() {
    let site = Site::new().await;
    site.lot("L-TODAY", "INNER", Some("2026-06-10")).await;
    site.receives("L-TODAY", 2.0, "YARD").await;
    // The site is two hours ahead of UTC: 22:00 UTC is midnight.
    site.line.waits(TimeDelta::minutes(359));
    site.moves("issue", of_lot("L-TODAY", 1.0)).await.expect(201);
    site.line.waits(TimeDelta::minutes(1));
    let problem = site.moves("issue", of_lot("L-TODAY", 1.0)).await;
    assert_eq!(blocking(&problem.problem(409, "ISSUE_REFUSED")), ["LOT_EXPIRED"]);
}

#[actix_web::test]
async fn every_reason_is_told_at_once() {
    let site = stocked().await;
    let held = json!({ "from": "2026-06-01T00:00:00Z", "reason": "stored in the sun" });
    site.line.materials.posts("/stock/lots/L-EXPIRED/quarantine", held).await.expect(201);
    let mut body = of_lot("L-EXPIRED", 11.0);
    body["to"] = json!("CREW-B1");
    // Spread B has no section, and every section is set down for spread A.
    let problem = site.moves("issue", body).await.problem(409, "ISSUE_REFUSED");
    let expected = ["NOT_IN_SYSTEM", "LOT_EXPIRED", "LOT_QUARANTINED", "NOT_ENOUGH"];
    assert_eq!(blocking(&problem), expected);
    assert_eq!(problem["blocking_conditions"][3]["left"], 10.0);
}

#[actix_web::test]
async fn what_no_system_of_the_spread_has_is_not_handed_out() {
    let site = Site::new().await;
    site.receives("L-BAND", 10.0, "YARD").await;
    let body = json!({ "material": "BAND", "quantity": 1, "from": "YARD", "to": "CREW-A1" });
    let problem = site.moves("issue", body).await.problem(409, "ISSUE_REFUSED");
    assert_eq!(blocking(&problem), ["NOT_IN_SYSTEM"]);
}

#[actix_web::test]
async fn too_much_is_refused_with_what_is_left_for_use_and_why_the_rest_is_not() {
    let site = stocked().await;
    let problem = site.moves("issue", of_material(31.0)).await.problem(409, "ISSUE_REFUSED");
    assert_eq!(blocking(&problem), ["LOT_EXPIRED", "NOT_ENOUGH"]);
    assert_eq!(problem["blocking_conditions"][1]["left"], 30.0);
    assert_eq!(site.holds("YARD", "L-SOON").await, 10.0);
}

#[actix_web::test]
async fn stock_is_issued_to_a_crew_and_to_nobody_else() {
    let site = stocked().await;
    for to in ["BOX", "joint", "scrap"] {
        let mut body = of_material(1.0);
        body["to"] = json!(to);
        site.moves("issue", body).await.problem(422, "INVALID");
    }
    let mut both = of_lot("L-SOON", 1.0);
    both["material"] = json!("BAND");
    site.moves("issue", both).await.problem(422, "INVALID");
    let neither = json!({ "quantity": 1, "from": "YARD", "to": "CREW-A1" });
    site.moves("issue", neither).await.problem(422, "INVALID");
}
