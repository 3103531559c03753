//! A label is scanned, and its roll received, without typing.

use harness::Line;
use serde_json::{Value, json};

/// GTINs of invented articles with right check digits (derived by hand).
const INNER: &str = "09506000134352";

async fn line() -> Line {
    let line = Line::new().await;
    let tape = json!({ "roll_width_mm": 100.0, "roll_length_m": 15.0, "thickness_mm": 0.8 });
    let body = json!({ "code": "SCANNED", "name": "Inner tape", "tape": tape, "gtin": INNER });
    line.admin.posts("/stock/materials", body).await.expect(201);
    line
}

async fn scans(line: &Line, scan: &str) -> Value {
    line.crew.posts("/stock/scans:parse", json!({ "scan": scan })).await.expect(200)
}

#[actix_web::test]
async fn a_roll_is_recognised_and_its_receipt_suggested() {
    let line = line().await;
    // 100 mm wide, 15 m long, core 76 mm, face in, no splice.
    let roll = "01000001507610";
    let label = format!("]C101{INNER}10L-4711\u{1d}1727113021R7\u{1d}8001{roll}");
    let read = scans(&line, &label).await;

    let fields = &read["fields"];
    assert_eq!((&fields["gtin"], &fields["lot"]), (&json!(INNER), &json!("L-4711")));
    assert_eq!((&fields["serial"], &fields["expires_on"]), (&json!("R7"), &json!("2027-11-30")));
    assert_eq!(
        fields["roll_dimensions"],
        json!({
            "width_mm": 100, "length_m": 15, "core_mm": 76, "winding": "face_in", "splices": 0,
        })
    );
    assert_eq!((&read["material"], &read["unit"]), (&json!("SCANNED"), &json!("m")));
    assert_eq!(read["warnings"], json!([]), "{read:#}");
    assert_eq!(
        read["receive"],
        json!({
            "kind": "receive", "from": "supplier", "lot": "L-4711", "quantity": 15.0,
            "new_lot": { "material": "SCANNED", "expires_on": "2027-11-30" },
        })
    );
    // The suggested lot is one that the server takes, and nothing was there before.
    line.admin.gets("/stock/lots/L-4711").await.problem(404, "NOT_FOUND");
    let mut lot = read["receive"]["new_lot"].clone();
    lot["code"] = read["receive"]["lot"].clone();
    line.materials.posts("/stock/lots", lot).await.expect(201);
    let again = scans(&line, &label).await;
    assert_eq!(again["known_lot"]["code"], "L-4711");
    assert_eq!(again["receive"]["new_lot"], Value::Null, "{again:#}");
}

#[actix_web::test]
async fn every_fault_of_a_label_is_named_with_its_place() {
    let line = line().await;
    let scan = json!({ "scan": "0109506000134353171313311037" });
    let problem = line.crew.posts("/stock/scans:parse", scan).await.problem(422, "INVALID");
    let errors = problem["errors"].as_array().unwrap();
    let codes: Vec<_> = errors.iter().map(|it| it["code"].as_str().unwrap()).collect();
    assert_eq!(codes, ["CHECK_DIGIT", "NO_SUCH_DATE"], "{problem:#}");
    let details: Vec<_> = errors.iter().map(|it| it["detail"].as_str().unwrap()).collect();
    assert!(details[0].starts_with("character 3: "), "{details:?}");
    assert!(details[0].ends_with("right for the digits before is 2"), "{details:?}");
    assert!(details[1].starts_with("character 19: "), "{details:?}");
}

#[actix_web::test]
async fn a_separator_that_the_scanner_dropped_is_missed() {
    let line = line().await;
    let scan = json!({ "scan": format!("01{INNER}10L-471117271130") });
    let answer = line.crew.posts("/stock/scans:parse", scan).await;
    let problem = answer.problem(422, "INVALID");
    let error = &problem["errors"][0];
    assert_eq!(error["code"], "MISSING_SEPARATOR", "{problem:#}");
    assert!(error["detail"].as_str().unwrap().contains("(17)271130"), "{problem:#}");
}

#[actix_web::test]
async fn what_the_project_knows_otherwise_is_said() {
    let line = line().await;
    let warnings = |read: &Value| -> Vec<String> {
        let of = read["warnings"].as_array().unwrap();
        of.iter().map(|it| it["code"].as_str().unwrap().to_owned()).collect()
    };
    let read = scans(&line, &format!("(01){INNER}(10)L-INNER(17)270131")).await;
    assert_eq!(warnings(&read), ["LOT_OF_ANOTHER_MATERIAL"]);
    assert_eq!(read["receive"], Value::Null);
    let read = scans(&line, "(01)04006381333931(10)x").await;
    assert_eq!(warnings(&read), ["UNKNOWN_GTIN"]);
    let read = scans(&line, &format!("(01){INNER}(10)l-inner(17)250131")).await;
    assert_eq!(warnings(&read), ["EXPIRED", "LOT_ALIKE"]);
    let read = scans(&line, &format!("(01){INNER}(10)Z(8001)00500001507610")).await;
    assert_eq!(warnings(&read), ["ROLL_DIFFERS"]);
    // Twelve rolls in a carton: the length of one comes from the catalogue.
    let read = scans(&line, &format!("(00)106141412345678908(02){INNER}(37)12(10)K1")).await;
    assert_eq!(warnings(&read), Vec::<String>::new(), "{read:#}");
    assert_eq!(read["receive"]["quantity"], 180.0);
}

#[actix_web::test]
async fn a_gtin_with_a_wrong_check_digit_is_no_gtin() {
    let line = line().await;
    for (gtin, code) in [
        ("09506000134353", "CHECK_DIGIT"),
        ("0950600013435X", "INVALID"),
        ("X9506000134352", "INVALID"),
        ("9506000134352", "INVALID"),
    ] {
        let body = json!({ "code": "G", "name": "G", "gtin": gtin });
        let problem = line.admin.posts("/stock/materials", body).await.problem(422, "INVALID");
        let error = &problem["errors"][0];
        assert_eq!((&error["pointer"], &error["code"]), (&json!("#/gtin"), &json!(code)));
    }
}
