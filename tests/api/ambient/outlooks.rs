//! Outlooks: kept as they were issued.

use chrono::TimeDelta;
use harness::{Line, app::texts};
use serde_json::{Value, json};
use uuid::Uuid;

use super::{ago, hour, mild, outlook, site, uploads, with};

async fn ids(line: &Line, query: &str) -> Vec<Value> {
    let page = line.client.gets(&format!("/ambient/outlooks?{query}")).await.expect(200);
    page["items"].as_array().unwrap().iter().map(|it| it["id"].clone()).collect()
}

#[actix_web::test]
async fn an_outlook_is_kept_as_it_was_issued() {
    let line = site().await;
    let mut hours = mild(ago(&line, 60), 24);
    hours[3] = with(with(hours[3].clone(), "rain_mm", 0.4), "wind_m_s", 6.5);
    let sent = with(outlook(ago(&line, 90), &hours), "source", "Valley weather office");
    let answer = line.coordinator.posts("/ambient/outlooks", sent.clone()).await;
    let location = answer.header("location").to_owned();
    let stored = answer.expect(201);
    for (field, value) in sent.as_object().unwrap() {
        assert_eq!(&stored[field], value, "{field}");
    }
    assert_eq!((&stored["first_at"], &stored["last_at"]), (&hours[0]["at"], &hours[23]["at"]));
    let read = line.client.asks(actix_web::http::Method::GET, &location, None).await;
    assert_eq!(read.expect(200), stored);
    // Sent again by whoever may, it is the same; with other hours it is another one.
    line.crew.posts("/ambient/outlooks", sent.clone()).await.expect(200);
    let other = with(sent.clone(), "hours", json!([hour(ago(&line, 60), 1.0, 50.0)]));
    line.coordinator.posts("/ambient/outlooks", other).await.problem(409, "ID_REUSED");
    // Another issue, which arrives later and was issued before.
    let before = outlook(ago(&line, 300), &hours);
    line.admin.posts("/ambient/outlooks", before.clone()).await.expect(201);
    assert_eq!(ids(&line, "spread=A").await, [sent["id"].clone(), before["id"].clone()]);
    assert_eq!(ids(&line, "").await.len(), 2);
    assert!(ids(&line, "spread=Z").await.is_empty());
    let page = line.client.gets("/ambient/outlooks?limit=1").await.expect(200);
    assert_eq!(page["items"][0]["hours"], Value::Null);
    let next = page["next"].as_str().unwrap();
    assert_eq!(ids(&line, &format!("limit=1&cursor={next}")).await, [before["id"].clone()]);
    let topics = line.client.gets("/changes?after=0&limit=500").await.expect(200);
    let told = topics["items"].as_array().unwrap().iter();
    assert_eq!(told.filter(|it| it["topic"] == "ambient_outlook.recorded").count(), 2);
}

#[actix_web::test]
async fn an_outlook_that_cannot_be_is_refused() {
    let line = site().await;
    let refused = async |sent: Value| {
        let refused = line.crew.posts("/ambient/outlooks", sent).await.problem(422, "INVALID");
        texts(&refused["errors"], "pointer")
    };
    let issued = ago(&line, 60);
    let twice = [hour(issued, 5.0, 70.0), hour(issued, 5.0, 70.0)];
    assert_eq!(refused(outlook(issued, &twice)).await, ["#/hours/1/at"]);
    assert_eq!(refused(outlook(issued, &[])).await, ["#/hours"]);
    assert_eq!(refused(outlook(issued, &mild(issued, 385))).await, ["#/hours"]);
    let far = [hour(issued + TimeDelta::days(16) + TimeDelta::seconds(1), 5.0, 70.0)];
    assert_eq!(refused(outlook(issued, &far)).await, ["#/hours/0/at"]);
    let wet = [hour(issued, 5.0, 100.1)];
    let pointer = "#/hours/0/relative_humidity_percent";
    assert_eq!(refused(outlook(issued, &wet)).await, [pointer]);
    let other = with(outlook(issued, &mild(issued, 2)), "spread", "Z");
    assert_eq!(refused(other).await, ["#/spread"]);
    let ahead = outlook(ago(&line, -3), &mild(issued, 2));
    line.crew.posts("/ambient/outlooks", ahead).await.problem(422, "AHEAD_OF_CLOCK");
    let good = outlook(issued, &mild(issued, 384));
    for person in [&line.materials, &line.client] {
        person.posts("/ambient/outlooks", good.clone()).await.problem(403, "FORBIDDEN");
    }
    line.stranger.posts("/ambient/outlooks", good.clone()).await.problem(404, "NOT_FOUND");
    line.crew.posts("/ambient/outlooks", good).await.expect(201);
    let unknown = format!("/ambient/outlooks/{}", Uuid::now_v7());
    line.client.gets(&unknown).await.problem(404, "NOT_FOUND");
    line.client.gets("/ambient/outlooks/tomorrow").await.problem(404, "NOT_FOUND");
}

#[actix_web::test]
async fn an_outlook_comes_as_a_table_and_twice_it_has_one_effect() {
    let line = site().await;
    let path = "/ambient/outlooks.csv?spread=A&issued_at=2026-06-10T12:00:00Z&source=Office";
    let table = "at;air_c;relative_humidity_percent;wind_m_s;rain_mm\n\
                 2026-06-11T04:00:00Z;4.5;92;1.5;0.2\n2026-06-11T07:00:00+02:00;5.5;88;;\n";
    let stored = uploads(&line, &line.coordinator, path, table).await.expect(201);
    assert_eq!(stored["hours"][0]["rain_mm"], 0.2);
    assert_eq!(stored["hours"][1]["at"], "2026-06-11T05:00:00Z");
    assert_eq!(stored["source"], "Office");
    assert_eq!(uploads(&line, &line.coordinator, path, table).await.expect(200), stored);
    let other = table.replace("4.5", "4.6");
    uploads(&line, &line.coordinator, path, other).await.problem(409, "ID_REUSED");
    let wrong = table.replace("4.5", "4,5").replace("88", "188");
    let refused = uploads(&line, &line.coordinator, path, wrong).await.problem(422, "INVALID");
    assert_eq!(
        (&refused["row_errors"][0]["row"], &refused["row_errors"][0]["column"]),
        (&json!(2), &json!("air_c"))
    );
    let unknown = path.replace("spread=A", "spread=Z");
    let refused = uploads(&line, &line.coordinator, &unknown, table).await.problem(422, "INVALID");
    assert_eq!(texts(&refused["errors"], "pointer"), ["#/spread"]);
    let without = uploads(&line, &line.coordinator, "/ambient/outlooks.csv", table).await;
    without.problem(400, "INVALID_PARAMETER");
}
