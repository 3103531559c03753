//! What is expected, and what of it has come.

use actix_web::{http::Method, test::TestRequest};
use harness::app::Answer;
use serde_json::{Value, json};

use super::{Site, id};

async fn announced(site: &Site, quantity: f64) -> Value {
    let body = json!({ "id": id(site.now()), "material": "INNER", "quantity": quantity,
                       "expected_on": "2026-06-20", "supplier": "Oskerra" });
    site.line.materials.posts("/stock/deliveries", body).await.expect(201)
}

async fn change(site: &Site, delivery: &Value, etag: Option<&str>, fields: Value) -> Answer {
    let mut body = json!({ "material": "INNER", "quantity": delivery["quantity"],
                           "expected_on": delivery["expected_on"], "status": "expected" });
    for (name, value) in fields.as_object().unwrap() {
        body[name] = value.clone();
    }
    let path = site
        .line
        .materials
        .path(&format!("/stock/deliveries/{}", delivery["id"].as_str().unwrap()));
    let bearer = format!("Bearer {}", site.line.materials.token().await);
    let mut request = TestRequest::with_uri(&path)
        .method(Method::PUT)
        .insert_header(("authorization", bearer))
        .set_json(body);
    if let Some(etag) = etag {
        request = request.insert_header(("if-match", etag));
    }
    site.line.app.call(request).await
}

#[actix_web::test]
async fn what_comes_is_counted_towards_its_delivery() {
    let site = Site::new().await;
    let delivery = announced(&site, 100.0).await;
    assert_eq!(delivery["status"], "expected");
    let receipt = |quantity: f64| json!({ "lot": "L-SOON", "quantity": quantity, "to": "YARD", "delivery_id": delivery["id"] });
    let first = site.moves("receive", receipt(60.0)).await.expect(201);
    let see = || site.reads("/stock/deliveries");
    let seen = see().await["items"][0].clone();
    assert_eq!((&seen["received_quantity"], &seen["status"]), (&json!(60.0), &json!("expected")));
    assert_eq!(seen["version"], 2);
    site.moves("receive", receipt(40.0)).await.expect(201);
    assert_eq!(see().await["items"][0]["status"], "received");
    let undo = json!({ "reverses": first["movements"][0]["id"], "reason": "of another order" });
    site.moves("reverse", undo).await.expect(201);
    let seen = see().await["items"][0].clone();
    assert_eq!((&seen["received_quantity"], &seen["status"]), (&json!(40.0), &json!("expected")));
}

#[actix_web::test]
async fn a_delivery_takes_only_its_own_material() {
    let site = Site::new().await;
    let delivery = announced(&site, 100.0).await;
    for (lot, delivery, code) in [
        ("L-BAND", delivery["id"].clone(), "MATERIAL_DIFFERS"),
        ("L-SOON", json!(id(site.now())), "UNKNOWN_REFERENCE"),
    ] {
        let body = json!({ "lot": lot, "quantity": 1, "to": "YARD", "delivery_id": delivery });
        let problem = site.moves("receive", body).await.problem(422, "INVALID");
        assert_eq!(problem["errors"][0]["code"], code);
    }
    assert_eq!(site.holds("YARD", "L-BAND").await, 0.0);
}

#[actix_web::test]
async fn a_delivery_changes_from_the_version_that_was_seen() {
    let site = Site::new().await;
    let delivery = announced(&site, 100.0).await;
    change(&site, &delivery, None, json!({})).await.problem(428, "IF_MATCH_REQUIRED");
    let later = json!({ "expected_on": "2026-07-01" });
    let changed = change(&site, &delivery, Some("\"v1\""), later.clone()).await;
    assert_eq!(changed.header("etag"), "\"v2\"");
    assert_eq!(changed.expect(200)["expected_on"], "2026-07-01");
    change(&site, &delivery, Some("\"v1\""), later).await.problem(412, "VERSION_IS_STALE");
    let cancelled = json!({ "status": "cancelled" });
    change(&site, &delivery, Some("\"v2\""), cancelled).await.expect(200);
    let body =
        json!({ "lot": "L-SOON", "quantity": 1, "to": "YARD", "delivery_id": delivery["id"] });
    site.moves("receive", body).await.problem(409, "DELIVERY_CANCELLED");
    let listed = site.reads("/stock/deliveries?status=cancelled&material=INNER").await;
    assert_eq!(listed["items"].as_array().unwrap().len(), 1);
    assert_eq!(site.reads("/stock/deliveries?status=expected").await["items"], json!([]));
}

#[actix_web::test]
async fn the_same_delivery_again_is_the_same() {
    let site = Site::new().await;
    let body = json!({ "id": id(site.now()), "material": "INNER", "quantity": 10,
                       "expected_on": "2026-06-20" });
    let controller = &site.line.materials;
    controller.posts("/stock/deliveries", body.clone()).await.expect(201);
    controller.posts("/stock/deliveries", body.clone()).await.expect(200);
    let mut other = body.clone();
    other["quantity"] = json!(11);
    controller.posts("/stock/deliveries", other).await.problem(409, "ID_REUSED");
    let mut unknown = body;
    unknown["material"] = json!("NONE");
    controller.posts("/stock/deliveries", unknown).await.problem(422, "INVALID");
}
