//! Delivery notes as tables.

use actix_web::test::TestRequest;
use harness::app::Answer;
use serde_json::Value;

use super::Site;

async fn sends(site: &Site, query: &str, kind: &'static str, table: &str) -> Answer {
    let path = site.line.coordinator.path(&format!("/stock/delivery-notes?{query}"));
    let bearer = format!("Bearer {}", site.line.coordinator.token().await);
    let request = TestRequest::post()
        .uri(&path)
        .insert_header(("authorization", bearer))
        .insert_header(("content-type", kind))
        .set_payload(table.to_owned());
    site.line.app.call(request).await
}

fn places(problem: &Value) -> Vec<(u64, String, String)> {
    let text = |it: &Value| it.as_str().unwrap().to_owned();
    let faults = problem["row_errors"].as_array().unwrap();
    let place = |it: &Value| (it["row"].as_u64().unwrap(), text(&it["column"]), text(&it["code"]));
    faults.iter().map(place).collect()
}

const GOOD: &str = "lot,material,quantity,expires_on\r\n\
                    TI-1,INNER,30,2027-05-31\r\n\
                    TI-1,INNER,30,2027-05-31\r\n\
                    L-SOON,INNER,12.5,\r\n";

#[actix_web::test]
async fn every_row_is_received_and_its_lot_set_up() {
    let site = Site::new().await;
    let dry = sends(&site, "to=YARD&validate_only=true", "text/csv", GOOD).await.expect(200);
    assert_eq!(dry["movements"].as_array().unwrap().len(), 3);
    assert_eq!(site.holds("YARD", "TI-1").await, 0.0);
    assert_eq!(site.line.client.gets("/stock/lots/TI-1").await.status, 404);

    let answer = sends(&site, "to=YARD", "text/csv; charset=utf-8", GOOD).await.expect(201);
    assert_eq!(answer["balances"].as_array().unwrap().len(), 2);
    assert_eq!(site.holds("YARD", "TI-1").await, 60.0);
    assert_eq!(site.holds("YARD", "L-SOON").await, 12.5);
    assert_eq!(site.reads("/stock/lots/TI-1").await["expires_on"], "2027-05-31");
}

#[actix_web::test]
async fn one_wrong_row_keeps_all_out_and_every_fault_is_named() {
    let site = Site::new().await;
    let table = "\u{feff}Lot;Material;Quantity;Expires on;Delivery id\n\
                 TI-1;INNER;30;2027-05-31;\n\
                 ;INNER;1,5;31.05.2027;seven\n\
                 TI-2;NONE;0;;\n";
    let problem = sends(&site, "to=YARD", "text/csv", table).await.problem(422, "INVALID");
    let expected = [
        (3, "lot", "REQUIRED"),
        (3, "quantity", "WRONG_TYPE"),
        (3, "expires_on", "WRONG_TYPE"),
        (3, "delivery_id", "WRONG_TYPE"),
        (4, "quantity", "OUT_OF_RANGE"),
    ];
    let expected = expected.map(|(row, column, code)| (row, column.to_owned(), code.to_owned()));
    assert_eq!(places(&problem), expected);

    let table = "lot,material,quantity,expires_on\nTI-1,INNER,30,2027-05-31\n\
                 TI-1,INNER,30,2027-06-30\nTI-2,NONE,1,\nL-SOON,INNER,1,2026-07-01\n";
    let problem = sends(&site, "to=YARD", "text/csv", table).await.problem(422, "INVALID");
    let expected = [
        (3, "lot", "LOT_DIFFERS"),
        (4, "material", "UNKNOWN_REFERENCE"),
        (5, "lot", "LOT_DIFFERS"),
    ];
    let expected = expected.map(|(row, column, code)| (row, column.to_owned(), code.to_owned()));
    assert_eq!(places(&problem), expected);
    assert_eq!(site.reads("/stock/balances").await["items"], serde_json::json!([]));
    assert_eq!(site.line.client.gets("/stock/lots/TI-1").await.status, 404, "no lot is set up");
}

#[actix_web::test]
async fn a_table_that_is_none_is_refused() {
    let site = Site::new().await;
    for table in [
        "",
        "lot,material\nA,INNER\n",
        "lot,material,quantity,colour\nA,INNER,1,red\n",
        "lot,material,quantity\n",
    ] {
        sends(&site, "to=YARD", "text/csv", table).await.problem(422, "INVALID");
    }
    sends(&site, "to=NOWHERE", "text/csv", GOOD).await.problem(422, "INVALID");
    sends(&site, "to=YARD", "application/json", GOOD).await.problem(415, "UNSUPPORTED_MEDIA_TYPE");
    let long = format!("{GOOD}{}", "x".repeat(1024 * 1024));
    sends(&site, "to=YARD", "text/csv", &long).await.problem(413, "TOO_LARGE");
}
