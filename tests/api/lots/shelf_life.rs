//! A lot keeps longer than its label says, after a new test.

use harness::{Answer, Line, Person, fact::everything};
use serde_json::{Value, json};

async fn extends(person: &Person, lot: &str, order: Value) -> Answer {
    person.posts(&format!("/stock/lots/{lot}/extension"), order).await
}

fn until(day: &str) -> Value {
    json!({ "expires_on": day, "certificate": "LAB-17", "reason": "peel and unwind tested" })
}

/// A joint whose inner tape is of a lot that expired the day before.
async fn with_expired_lot() -> Line {
    let line = Line::with_joints(1).await;
    wraps(&line, 0).await;
    line
}

/// Coats `J-1` with the expired lot, beginning at that minute.
async fn wraps(line: &Line, from: i64) {
    let facts = everything().into_iter().enumerate().map(|(place, fact)| {
        let at = harness::minute(from + 10 * i64::try_from(place).unwrap());
        let fact = fact.with("occurred_at", json!(at));
        if fact.0["layer"] == "inner" { fact.with("lots", json!(["L-EXPIRED"])) } else { fact }
    });
    line.records("J-1", &facts.collect::<Vec<_>>()).await;
}

#[actix_web::test]
async fn an_extension_holds_from_its_approval_on() {
    let line = with_expired_lot().await;
    assert_eq!(line.qa.releases("J-1").await.refusal(), ["LOT_EXPIRED"]);

    let lot = extends(&line.qa, "L-EXPIRED", until("2026-12-31")).await.expect(200);

    let given = &lot["extensions"][0];
    assert_eq!(
        (&given["certificate"], &given["approved_by"]),
        (&json!("LAB-17"), &json!(line.qa.user))
    );
    assert_eq!(lot["expires_on"], "2026-06-09", "what is printed on it stays");
    let codes = line.qa.releases("J-1").await.refusal();
    assert_eq!(codes, ["LOT_EXPIRED"], "what was used before is not cured");

    line.waits(chrono::TimeDelta::minutes(200));
    wraps(&line, 700).await;
    line.qa.releases("J-1").await.expect(201);
}

#[actix_web::test]
async fn an_extension_is_longer_and_of_a_sound_lot() {
    let line = Line::with_joints(1).await;
    extends(&line.qa, "L-NONE", until("2026-12-31")).await.problem(404, "NOT_FOUND");
    for day in ["2026-06-08", "2026-06-09"] {
        let refused = extends(&line.qa, "L-EXPIRED", until(day)).await.problem(422, "INVALID");
        assert_eq!(refused["errors"][0]["pointer"], "#/expires_on", "{refused:#}");
    }
    extends(&line.qa, "L-EXPIRED", until("2026-12-31")).await.expect(200);
    let again = extends(&line.qa, "L-EXPIRED", until("2026-12-31")).await.expect(200);
    assert_eq!(again["extensions"].as_array().unwrap().len(), 1, "said twice, done once");
    extends(&line.qa, "L-EXPIRED", until("2026-12-30")).await.problem(422, "INVALID");
    let mut no_paper = until("2027-12-31");
    no_paper["certificate"] = json!("");
    extends(&line.qa, "L-EXPIRED", no_paper).await.problem(422, "INVALID");

    let hold = json!({ "reason": "crushed rolls" });
    line.qa.posts("/stock/lots/L-EXPIRED/quarantine", hold).await.expect(201);
    let refused = extends(&line.qa, "L-EXPIRED", until("2027-12-31")).await;
    refused.problem(409, "LOT_QUARANTINED");

    let endless = json!({ "code": "L-STONE", "material": "INNER" });
    line.materials.posts("/stock/lots", endless).await.expect(201);
    extends(&line.qa, "L-STONE", until("2027-12-31")).await.problem(409, "NO_SHELF_LIFE");
    let bought = json!({ "code": "L-BOUGHT", "material": "INNER", "expires_on": "2026-06-01",
        "extensions": [{ "expires_on": "2027-01-01", "certificate": "X", "reason": "none",
                         "approved_at": "2026-01-01T00:00:00Z", "approved_by": line.qa.user }] });
    let refused = line.materials.posts("/stock/lots", bought).await.problem(422, "INVALID");
    assert_eq!(refused["errors"][0]["code"], "CHANGED_ELSEWHERE");
    extends(&line.materials, "L-EXPIRED", until("2027-12-31")).await.problem(403, "FORBIDDEN");
}
