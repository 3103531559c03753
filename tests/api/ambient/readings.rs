//! Readings: kept whatever order they come in, never changed, corrected only with a reason.

use chrono::TimeDelta;
use harness::{Line, app::texts};
use serde_json::{Value, json};
use uuid::Uuid;

use super::{ago, airs, listed, reading, records, site, with};

#[actix_web::test]
async fn a_reading_is_kept_and_sent_again_it_is_the_same() {
    let line = site().await;
    let mut sent = reading(ago(&line, 5), 12.25);
    for (field, value) in [("steel_c", 11.5), ("wind_m_s", 3.0), ("rain_mm", 0.0)] {
        sent = with(sent, field, value);
    }
    let sent = with(with(sent, "station", "mast"), "note", "in the shade of the side boom");
    let first = records(&line.crew, &sent).await.expect(201);
    for (field, value) in sent.as_object().unwrap() {
        assert_eq!(&first[field], value, "{field}");
    }
    assert_eq!(first["recorded_by"], line.crew.user);
    line.app.wait(TimeDelta::hours(1));
    // Whoever sends it again is told what is stored; the time may be written otherwise.
    let other = with(sent.clone(), "read_at", ago(&line, 65).to_rfc3339());
    assert_eq!(records(&line.inspector, &other).await.expect(200), first);
    records(&line.crew, &with(sent, "air_c", 12.5)).await.problem(409, "ID_REUSED");
    assert_eq!(listed(&line.client, "").await, [first]);
}

#[actix_web::test]
async fn readings_come_in_any_order_and_of_any_age() {
    let line = site().await;
    for (minutes, air_c) in [(30, 3.0), (60 * 24 * 400, 1.0), (10, 4.0), (45, 2.0)] {
        records(&line.crew, &reading(ago(&line, minutes), air_c)).await.expect(201);
    }
    let yard = with(with(reading(ago(&line, 20), 21.0), "spread", Value::Null), "location", "YARD");
    let yard = with(yard, "relative_humidity_percent", Value::Null);
    records(&line.materials, &yard).await.expect(201);
    assert_eq!(airs(&listed(&line.client, "").await), [4.0, 21.0, 3.0, 2.0, 1.0]);
    assert_eq!(airs(&listed(&line.client, "spread=A").await), [4.0, 3.0, 2.0, 1.0]);
    assert_eq!(airs(&listed(&line.client, "location=YARD").await), [21.0]);
    assert!(listed(&line.client, "spread=Z").await.is_empty());
    let at = |minutes| ago(&line, minutes).format("%Y-%m-%dT%H:%M:%SZ").to_string();
    let span = format!("spread=A&from={}&to={}", at(45), at(10));
    assert_eq!(airs(&listed(&line.client, &span).await), [3.0, 2.0], "from counts, to does not");
    line.client.gets("/ambient/readings?from=noon").await.problem(400, "INVALID_PARAMETER");
}

#[actix_web::test]
async fn the_list_is_read_page_by_page() {
    let line = site().await;
    let mut sent = Vec::new();
    for minutes in 0..7 {
        // Three of them share one instant.
        let at = if minutes < 3 { 3 } else { minutes };
        let mut one = reading(ago(&line, at), f64::from(u32::try_from(minutes).unwrap()));
        if minutes % 2 == 0 {
            one = with(with(one, "spread", Value::Null), "location", "YARD");
        }
        records(&line.crew, &one).await.expect(201);
        sent.push(one);
    }
    let whole = listed(&line.client, "").await;
    assert_eq!(whole.len(), 7);
    let mut read = Vec::new();
    let mut path = "/ambient/readings?limit=2".to_owned();
    loop {
        let page = line.client.gets(&path).await.expect(200);
        read.extend(page["items"].as_array().unwrap().clone());
        let Some(next) = page["next"].as_str() else { break };
        path = format!("/ambient/readings?limit=2&cursor={next}");
    }
    assert_eq!(read, whole);
    line.client.gets("/ambient/readings?cursor=nonsense").await.problem(400, "INVALID_CURSOR");
}

#[actix_web::test]
async fn a_wrong_reading_is_superseded_or_taken_away_and_both_stay_visible() {
    let line = site().await;
    let (wrong, away) = (reading(ago(&line, 30), 71.0 - 1.5), reading(ago(&line, 20), 5.0));
    records(&line.crew, &wrong).await.expect(201);
    records(&line.crew, &away).await.expect(201);
    let right = with(reading(ago(&line, 30), 6.95), "supersedes", wrong["id"].clone());
    let right = with(right, "reason", "the point was one place off");
    records(&line.crew, &right).await.problem(403, "FORBIDDEN");
    records(&line.inspector, &right).await.expect(201);
    let taken = json!({
        "id": Uuid::now_v7(), "spread": "A", "read_at": ago(&line, 20), "supersedes": away["id"],
        "reason": "the gauge lay in the sun",
    });
    let stored = records(&line.inspector, &taken).await.expect(201);
    assert_eq!(stored["air_c"], Value::Null);

    let all = listed(&line.client, "spread=A").await;
    assert_eq!(all.len(), 4);
    let superseded_by = |id: &Value| {
        let found = all.iter().find(|it| it["id"] == *id).unwrap();
        found["superseded_by"].clone()
    };
    assert_eq!(superseded_by(&wrong["id"]), right["id"]);
    assert_eq!(superseded_by(&away["id"]), taken["id"]);
    assert_eq!(superseded_by(&right["id"]), Value::Null);
    let counting = listed(&line.client, "spread=A&superseded=false").await;
    assert_eq!(texts(&json!(counting), "id"), [taken["id"].clone(), right["id"].clone()]);
}

#[actix_web::test]
async fn an_entry_takes_the_place_of_one_of_its_own_place_alone() {
    let line = site().await;
    let at_spread = reading(ago(&line, 30), 5.0);
    records(&line.crew, &at_spread).await.expect(201);
    // Whoever keeps the store may correct the store, and nothing else by that way.
    let store = with(with(reading(ago(&line, 30), 9.0), "spread", Value::Null), "location", "YARD");
    let over = |of: &Value| {
        let over = with(with(store.clone(), "supersedes", of["id"].clone()), "reason", "a slip");
        with(over, "id", json!(Uuid::now_v7()))
    };
    let refused = records(&line.materials, &over(&at_spread)).await.problem(422, "INVALID");
    assert_eq!(texts(&refused["errors"], "code"), ["OTHER_PLACE"]);
    records(&line.materials, &store).await.expect(201);
    records(&line.crew, &over(&store)).await.problem(403, "FORBIDDEN");
    records(&line.materials, &over(&store)).await.expect(201);
    // A correction may arrive before what it corrects.
    let late = with(store.clone(), "id", json!(Uuid::now_v7()));
    let early = over(&late);
    records(&line.inspector, &early).await.expect(201);
    assert_eq!(records(&line.crew, &late).await.expect(201)["superseded_by"], early["id"]);
}

#[actix_web::test]
async fn what_cannot_be_is_refused_with_every_fault() {
    let line = site().await;
    let refused = async |sent: Value| {
        let refused = records(&line.crew, &sent).await.problem(422, "INVALID");
        texts(&refused["errors"], "pointer")
    };
    let now = reading(ago(&line, 5), 5.0);
    let cold = with(with(now.clone(), "air_c", -80), "relative_humidity_percent", 0);
    assert_eq!(refused(cold).await, ["#/air_c", "#/relative_humidity_percent"]);
    let dry = with(now.clone(), "relative_humidity_percent", Value::Null);
    assert_eq!(refused(dry).await, ["#/relative_humidity_percent"]);
    assert_eq!(refused(with(now.clone(), "spread", "Z")).await, ["#/spread"]);
    assert_eq!(refused(with(now.clone(), "location", "YARD")).await, ["#/location"]);
    assert_eq!(refused(with(now.clone(), "air", 5)).await, ["#/air"]);

    let ahead =
        |seconds| with(now.clone(), "read_at", json!(line.app.now() + TimeDelta::seconds(seconds)));
    let told = records(&line.crew, &ahead(121)).await.problem(422, "AHEAD_OF_CLOCK");
    assert_eq!(told["errors"][0]["pointer"], "#/read_at");
    assert!(told["detail"].as_str().unwrap().contains("2026-06-10T16:02:00Z"), "{told:#}");
    records(&line.crew, &ahead(120)).await.expect(201);
    records(&line.client, &now).await.problem(403, "FORBIDDEN");
    // Who moves stock reads the store, not the spread.
    records(&line.materials, &with(now, "id", json!(Uuid::now_v7())))
        .await
        .problem(403, "FORBIDDEN");
}

#[actix_web::test]
async fn each_reading_of_a_batch_stands_on_its_own() {
    let line = site().await;
    let good = reading(ago(&line, 30), 5.0);
    let store = with(with(good.clone(), "spread", Value::Null), "location", "YARD");
    let store = with(store, "id", json!(Uuid::now_v7()));
    let other = with(good.clone(), "air_c", 6.0);
    let hot = with(reading(ago(&line, 5), 5.0), "air_c", 90.0);
    let ahead = reading(line.app.now() + TimeDelta::hours(1), 5.0);
    let over = with(
        with(reading(ago(&line, 30), 5.5), "supersedes", good["id"].clone()),
        "reason",
        "a slip",
    );
    let batch = json!({ "readings": [good, hot, other, store, ahead, over, {}] });
    let sends = async |who: &harness::Person| {
        let items = who.posts("/ambient/reading-batches", batch.clone()).await.expect(207);
        let items = items["items"].as_array().unwrap().clone();
        let told = |it: &Value| (it["status"].as_u64().unwrap(), it["problem"]["code"].clone());
        items.iter().map(told).collect::<Vec<_>>()
    };
    let none = Value::Null;
    let code = |code: &str| json!(code);
    let told = [
        (201, none.clone()),
        (422, code("INVALID")),
        (409, code("ID_REUSED")),
        (201, none.clone()),
        (422, code("AHEAD_OF_CLOCK")),
        (403, code("FORBIDDEN")),
        (422, code("INVALID")),
    ];
    assert_eq!(sends(&line.crew).await, told);
    let statuses = |found: Vec<(u64, Value)>| found.into_iter().map(|it| it.0).collect::<Vec<_>>();
    assert_eq!(statuses(sends(&line.crew).await), [200, 422, 409, 200, 422, 403, 422]);
    assert_eq!(statuses(sends(&line.inspector).await), [200, 422, 409, 200, 422, 201, 422]);
    assert_eq!(listed(&line.client, "").await.len(), 3);
    let many = json!({ "readings": vec![json!({}); 501] });
    line.crew.posts("/ambient/reading-batches", many).await.problem(422, "INVALID");
}

#[actix_web::test]
async fn the_feed_tells_once_of_a_request_and_place() {
    let line = site().await;
    let store = with(with(reading(ago(&line, 3), 9.0), "spread", Value::Null), "location", "YARD");
    let batch = json!({ "readings": [
        reading(ago(&line, 30), 5.0), reading(ago(&line, 90), 5.0), store,
    ]});
    for _ in 0..2 {
        line.crew.posts("/ambient/reading-batches", batch.clone()).await.expect(207);
    }
    let changes = line.client.gets("/changes?after=0&limit=500").await.expect(200);
    let items = changes["items"].as_array().unwrap().iter();
    let told: Vec<_> = items
        .filter(|it| it["topic"] == "ambient_readings.recorded")
        .map(|it| (it["subject"].clone(), it["body"]["count"].clone(), it["body"].clone()))
        .collect();
    assert_eq!(told.len(), 2, "{told:#?}");
    assert_eq!((&told[0].0, &told[0].1), (&json!("A"), &json!(2)));
    assert_eq!(told[0].2["from"], batch["readings"][1]["read_at"]);
    assert_eq!(told[0].2["to"], batch["readings"][0]["read_at"]);
    assert_eq!((&told[1].0, &told[1].2["location"]), (&json!("YARD"), &json!("YARD")));
}

#[actix_web::test]
async fn another_project_has_its_own_log() {
    let line = Line::new().await;
    let sent = reading(ago(&line, 5), 5.0);
    records(&line.crew, &sent).await.expect(201);
    line.stranger.gets("/ambient/readings").await.problem(404, "NOT_FOUND");
    let path = "/v1/projects/SOUTH/ambient/readings";
    let put = async |path: &str, body: Value| {
        line.stranger.asks(actix_web::http::Method::PUT, path, Some(body)).await.expect(201)
    };
    let spread = json!({ "code": "A", "name": "Spread A" });
    put("/v1/projects/SOUTH/spreads/A", spread).await;
    let members = format!("/v1/projects/SOUTH/members/{}", line.inspector.user);
    put(&members, json!({ "role": "inspector" })).await;
    let post = actix_web::http::Method::POST;
    // The same id is free in another project.
    line.inspector.asks(post, path, Some(with(sent, "air_c", 7.0))).await.expect(201);
    let get = actix_web::http::Method::GET;
    let there = line.inspector.asks(get, path, None).await.expect(200);
    assert_eq!(airs(there["items"].as_array().unwrap()), [7.0]);
    assert_eq!(airs(&listed(&line.client, "").await), [5.0]);
}
