//! Receiving, moving, bringing back, throwing away, undoing.

use chrono::TimeDelta;
use serde_json::{Value, json};

use super::{Site, faults, id};

fn fields(lot: &str, quantity: f64, from: &str, to: &str) -> Value {
    json!({ "lot": lot, "quantity": quantity, "from": from, "to": to })
}

#[actix_web::test]
async fn what_is_received_is_there() {
    let site = Site::new().await;
    let answer = site.receives("L-SOON", 120.5, "YARD").await;
    assert_eq!(answer["movements"][0]["kind"], "receive");
    assert_eq!(answer["movements"][0]["from"], "supplier");
    assert_eq!(answer["movements"][0]["recorded_by"], site.line.materials.user);
    let balance = &answer["balances"][0];
    assert_eq!(answer["balances"].as_array().unwrap().len(), 1, "the supplier is no location");
    assert_eq!(balance["location"], "YARD");
    assert_eq!(balance["quantity"], 120.5);
    assert_eq!(balance["material"], "INNER");
    assert_eq!(balance["expires_on"], "2026-06-30");
    assert_eq!(balance["usable"], true);
    assert_eq!(site.holds("YARD", "L-SOON").await, 120.5);
    assert_eq!(site.holds("supplier", "L-SOON").await, -120.5, "nothing comes from nowhere");
}

#[actix_web::test]
async fn each_role_moves_what_it_may() {
    let site = Site::new().await;
    site.receives("L-SOON", 100.0, "YARD").await;
    for (role, person) in site.line.member_of_each_role() {
        let answer = site.moves_as(person, "transfer", fields("L-SOON", 1.0, "YARD", "BOX")).await;
        let may = ["material_controller", "site_coordinator", "crew_lead"].contains(&role.name());
        assert_eq!(answer.status, if may { 201 } else { 403 }, "{}", role.name());
    }
    assert_eq!(site.holds("BOX", "L-SOON").await, 3.0);
}

#[actix_web::test]
async fn the_same_again_is_the_same_and_another_under_its_id_is_refused() {
    let site = Site::new().await;
    let body = site.movement("receive", json!({ "lot": "L-SOON", "quantity": 10, "to": "YARD" }));
    let controller = &site.line.materials;
    let first = controller.posts("/stock/movements", body.clone()).await.expect(201);
    let again = controller.posts("/stock/movements", body.clone()).await.expect(200);
    assert_eq!(again["movements"], first["movements"]);
    let mut other = body;
    other["quantity"] = json!(11);
    controller.posts("/stock/movements", other).await.problem(409, "ID_REUSED");
    assert_eq!(site.holds("YARD", "L-SOON").await, 10.0);
}

#[actix_web::test]
async fn no_location_gives_what_it_does_not_hold() {
    let site = Site::new().await;
    site.receives("L-SOON", 10.0, "YARD").await;
    site.moves("transfer", fields("L-SOON", 4.0, "YARD", "CREW-A1")).await.problem(422, "INVALID");
    site.moves("issue", fields("L-SOON", 4.0, "YARD", "CREW-A1")).await.expect(201);
    for (kind, body) in [
        ("transfer", fields("L-SOON", 6.001, "YARD", "BOX")),
        ("return", fields("L-SOON", 4.001, "CREW-A1", "YARD")),
        ("scrap", json!({ "lot": "L-SOON", "quantity": 7, "from": "YARD", "reason": "torn" })),
        ("transfer", fields("L-LATER", 0.001, "YARD", "BOX")),
    ] {
        let left = match (body["lot"].as_str(), body["from"].as_str()) {
            (Some("L-LATER"), _) => 0.0,
            (_, Some("YARD")) => 6.0,
            _ => 4.0,
        };
        let problem = site.moves(kind, body).await.problem(409, "NOT_ENOUGH");
        assert_eq!(problem["left"], left, "{problem:#}");
        assert_eq!(problem["blocking_conditions"][0]["left"], left);
    }
    assert_eq!(site.holds("YARD", "L-SOON").await, 6.0, "nothing has moved");
}

#[actix_web::test]
async fn what_is_thrown_away_is_scrap_and_says_why() {
    let site = Site::new().await;
    site.receives("L-SOON", 10.0, "YARD").await;
    let body = json!({ "lot": "L-SOON", "quantity": 3, "from": "YARD" });
    let problem = site.moves("scrap", body.clone()).await.problem(422, "INVALID");
    assert_eq!(faults(&problem), [("#/reason".into(), "REQUIRED".into())]);
    let mut body = body;
    body["reason"] = json!("rolls lay in water");
    site.moves("scrap", body).await.expect(201);
    assert_eq!(site.holds("YARD", "L-SOON").await, 7.0);
    assert_eq!(site.holds("scrap", "L-SOON").await, 3.0);
}

#[actix_web::test]
async fn a_crew_brings_back_to_a_store() {
    let site = Site::new().await;
    site.receives("L-SOON", 10.0, "YARD").await;
    site.moves("issue", fields("L-SOON", 8.0, "YARD", "CREW-A1")).await.expect(201);
    let back = fields("L-SOON", 3.0, "CREW-A1", "YARD");
    site.moves_as(&site.line.crew, "return", back).await.expect(201);
    assert_eq!(site.holds("YARD", "L-SOON").await, 5.0);
    for (from, to, pointer) in [("YARD", "BOX", "#/from"), ("CREW-A1", "CREW-B1", "#/to")] {
        let problem = site.moves("return", fields("L-SOON", 1.0, from, to)).await;
        assert_eq!(
            faults(&problem.problem(422, "INVALID")),
            [(pointer.into(), "WRONG_PLACE".into())]
        );
    }
}

#[actix_web::test]
async fn a_movement_is_undone_once_by_its_opposite() {
    let site = Site::new().await;
    let received = site.receives("L-SOON", 10.0, "YARD").await;
    let wrong = received["movements"][0]["id"].clone();
    site.moves("transfer", fields("L-SOON", 4.0, "YARD", "BOX")).await.expect(201);
    let undo = json!({ "reverses": wrong, "reason": "counted twice" });
    // What has left the yard since cannot go back to the supplier.
    let problem = site.moves("reverse", undo.clone()).await.problem(409, "NOT_ENOUGH");
    assert_eq!(problem["left"], 6.0);
    site.moves("transfer", fields("L-SOON", 4.0, "BOX", "YARD")).await.expect(201);
    let undone = site.moves("reverse", undo.clone()).await.expect(201);
    assert_eq!(undone["movements"][0]["reverses"], wrong);
    assert_eq!(undone["movements"][0]["to"], "supplier");
    assert_eq!(site.holds("YARD", "L-SOON").await, 0.0);
    site.moves("reverse", undo).await.problem(409, "REVERSED_ALREADY");
    let reversal = json!({ "reverses": undone["movements"][0]["id"], "reason": "after all" });
    site.moves("reverse", reversal).await.problem(409, "NOT_REVERSIBLE");
    let nothing = json!({ "reverses": id(site.now()), "reason": "no such movement" });
    site.moves("reverse", nothing).await.problem(404, "NOT_FOUND");
}

#[actix_web::test]
async fn every_fault_of_a_movement_is_named_at_once() {
    let site = Site::new().await;
    let later = site.now() + TimeDelta::hours(1);
    let body = json!({ "lot": "NONE", "quantity": 1, "from": "NOWHERE", "to": "scrap",
                       "occurred_at": later });
    let problem = site.moves("transfer", body).await.problem(422, "INVALID");
    let expected = [
        ("#/from", "UNKNOWN_REFERENCE"),
        ("#/to", "WRONG_PLACE"),
        ("#/occurred_at", "OUT_OF_RANGE"),
        ("#/lot", "UNKNOWN_REFERENCE"),
    ];
    assert_eq!(faults(&problem), expected.map(|(at, code)| (at.to_owned(), code.to_owned())));
    for quantity in [0.0, -1.0, 1.0001, 10_000_001.0] {
        let body = json!({ "lot": "L-SOON", "quantity": quantity, "to": "YARD" });
        let problem = site.moves("receive", body).await.problem(422, "INVALID");
        assert_eq!(problem["errors"][0]["pointer"], "#/quantity", "{quantity}");
    }
    for kind in ["consume", "count", "nonsense"] {
        let body = json!({ "lot": "L-SOON", "quantity": 1, "from": "YARD", "to": "BOX" });
        site.moves(kind, body).await.problem(422, "INVALID");
    }
    let same = fields("L-SOON", 1.0, "YARD", "YARD");
    let problem = site.moves("transfer", same).await.problem(422, "INVALID");
    assert_eq!(faults(&problem), [("#/to".into(), "SAME_PLACE".into())]);
}

#[actix_web::test]
async fn a_lot_can_be_set_up_as_it_is_received() {
    let site = Site::new().await;
    let body = |expires_on: &str| {
        json!({ "lot": "TI-1", "quantity": 5, "to": "YARD",
                "new_lot": { "material": "INNER", "expires_on": expires_on } })
    };
    site.moves_as(&site.line.coordinator, "receive", body("2027-05-31")).await.expect(201);
    assert_eq!(site.reads("/stock/lots/TI-1").await["expires_on"], "2027-05-31");
    site.moves("receive", body("2027-05-31")).await.expect(201);
    assert_eq!(site.holds("YARD", "TI-1").await, 10.0);
    site.moves("receive", body("2027-06-30")).await.problem(409, "LOT_DIFFERS");
    let unknown = json!({ "lot": "TI-2", "quantity": 5, "to": "YARD",
                          "new_lot": { "material": "NONE", "produced_on": "2026-05-01",
                                       "expires_on": "2026-04-01" } });
    let problem = site.moves("receive", unknown).await.problem(422, "INVALID");
    let expected = [
        ("#/new_lot/material".to_owned(), "UNKNOWN_REFERENCE".to_owned()),
        ("#/new_lot/expires_on".to_owned(), "OUT_OF_RANGE".to_owned()),
    ];
    assert_eq!(faults(&problem), expected);
}

#[actix_web::test]
async fn the_ledger_is_read_page_by_page_newest_first() {
    let site = Site::new().await;
    for quantity in 1..=5 {
        site.receives("L-SOON", f64::from(quantity), "YARD").await;
    }
    site.receives("L-BAND", 9.0, "BOX").await;
    let mut seen = Vec::new();
    let mut cursor = String::new();
    loop {
        let page = site.reads(&format!("/stock/movements?lot=L-SOON&limit=2{cursor}")).await;
        let items = page["items"].as_array().unwrap();
        seen.extend(items.iter().map(|it| it["quantity"].as_f64().unwrap()));
        let Some(next) = page["next"].as_str() else { break };
        cursor = format!("&cursor={next}");
    }
    assert_eq!(seen, [5.0, 4.0, 3.0, 2.0, 1.0]);
    for (filter, count) in [
        ("material=BAND", 1),
        ("location=YARD", 5),
        ("location=supplier", 6),
        ("kind=transfer", 0),
        ("kind=receive", 6),
        ("joint=J-9", 0),
    ] {
        let page = site.reads(&format!("/stock/movements?{filter}")).await;
        assert_eq!(page["items"].as_array().unwrap().len(), count, "{filter}");
    }
}

#[actix_web::test]
async fn a_location_of_a_crew_names_it_and_the_words_of_the_ledger_are_taken() {
    let site = Site::new().await;
    let check = |location: Value, pointer: &'static str, code: &'static str| {
        let site = &site;
        async move {
            let answer = site.line.materials.posts("/stock/locations", location).await;
            let problem = answer.problem(422, "INVALID");
            assert_eq!(faults(&problem), [(pointer.to_owned(), code.to_owned())]);
        }
    };
    for code in ["supplier", "joint", "scrap", "adjustment", "unrecorded"] {
        let location = json!({ "code": code, "name": "A", "kind": "yard" });
        check(location, "#/code", "RESERVED").await;
    }
    let crew = |crew: Option<&str>, kind: &str| {
        let mut location = json!({ "code": "X", "name": "A", "kind": kind });
        if let Some(crew) = crew {
            location["crew"] = json!(crew);
        }
        location
    };
    check(crew(None, "crew"), "#/crew", "REQUIRED").await;
    check(crew(Some("A1"), "yard"), "#/crew", "NOT_ALLOWED").await;
    check(crew(Some("Z9"), "crew"), "#/crew", "UNKNOWN_REFERENCE").await;
}
