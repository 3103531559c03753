//! Workable hours: what the calculator says of the outlook that is believed, day by day on site.

use actix_web::http::Method;
use chrono::{DateTime, TimeDelta, Utc};
use harness::{Line, Person};
use serde_json::{Map, Value, json};

use super::{ago, at, hour, mild, outlook, puts, reading, records, site, with};

async fn issues(who: &Person, outlook: &Value) {
    who.posts("/ambient/outlooks", outlook.clone()).await.expect(201);
}

/// The item of spread `A` and `system`.
async fn seen(line: &Line, system: &str, days: u32) -> Value {
    let path = format!("/ambient/workable-hours?spread=A&system={system}&days={days}");
    let answer = line.client.gets(&path).await.expect(200);
    assert_eq!(answer["time_zone"], "Europe/Vienna");
    assert_eq!(answer["items"].as_array().unwrap().len(), 1);
    answer["items"][0].clone()
}

fn hours_of(item: &Value) -> Vec<Value> {
    let days = item["days"].as_array().unwrap().iter();
    days.flat_map(|day| day["hours"].as_array().unwrap().clone()).collect()
}

#[actix_web::test]
async fn it_is_what_the_calculator_says() {
    let line = site().await;
    let limits =
        json!({ "steel_min_c": 9.5, "relative_humidity_max_percent": 80, "air_max_c": 30 });
    puts(&line.admin, "stock/materials", "COLD", json!({ "name": "Tape", "limits": limits })).await;
    let layer = json!({ "role": "inner_wrap", "material": "COLD", "thickness_mm": 1.0 });
    let system = json!({ "name": "Tape", "surface_grade": "St 3", "layers": [layer] });
    puts(&line.admin, "coating-systems", "COLD", system).await;
    let section = json!({
        "name": "Section", "kp_from_km": 500.0, "kp_to_km": 600.0, "line_pipe": "DN500",
        "coating_system": "COLD", "spread": "A", "inspection_plan": "ITP-1",
        "backfill": "screened", "design_temperature_c": 40.0,
    });
    puts(&line.admin, "sections", "S3", section).await;
    let start = at("2026-06-09T22:00:00Z");
    let steel = with(reading(start - TimeDelta::minutes(90), 9.0), "steel_c", 14.5);
    records(&line.crew, &steel).await.expect(201);
    // A day that swings between 4 and 20 °C, wet at night, with rain now and then.
    let hours: Vec<Value> = (0..72_u32)
        .map(|index| {
            let turn = f64::from(index) / 24.0 * std::f64::consts::TAU;
            let one = hour(
                start + TimeDelta::hours(i64::from(index)),
                12.0 - 8.0 * turn.cos(),
                72.0 + 20.0 * turn.cos(),
            );
            if index % 11 == 5 { with(one, "rain_mm", 0.3) } else { one }
        })
        .collect();
    issues(&line.coordinator, &outlook(ago(&line, 60), &hours)).await;

    let item = seen(&line, "COLD", 3).await;
    assert_eq!(item["steel_start_c"], 14.5);
    let mut limits = Map::new();
    for it in item["limits"].as_array().unwrap() {
        limits.insert(it["limit"].as_str().unwrap().to_owned(), it["bound"].clone());
    }
    let expected = json!({
        "dew_point_margin_c": 3.0, "relative_humidity_max_percent": 80.0, "steel_min_c": 9.5,
        "air_max_c": 30.0, "rain_max_mm": 0.0,
    });
    assert_eq!(json!(limits), expected);
    let asked = json!({
        "hours": hours, "limits": limits, "steel_lag_h": item["steel_lag_h"],
        "steel_start_c": item["steel_start_c"],
    });
    let path = "/v1/calculations/workable-hours";
    let said = line.client.asks(Method::POST, path, Some(asked)).await.expect(200);
    let found = hours_of(&item);
    assert_eq!(found.len(), 72);
    let (mut workable, mut refused) = (0, 0);
    for (found, said) in found.iter().zip(said["hours"].as_array().unwrap()) {
        for field in ["steel_c", "dew_point_c", "margin_c", "workable"] {
            assert_eq!(found[field], said[field], "{field} of {found:#}");
        }
        let broken = found["broken"].as_array().unwrap();
        assert_eq!(broken.len(), said["broken"].as_array().unwrap().len());
        for (found, said) in broken.iter().zip(said["broken"].as_array().unwrap()) {
            for field in ["limit", "value", "bound"] {
                assert_eq!(found[field], said[field]);
            }
            let owner = match found["limit"].as_str().unwrap() {
                "dew_point_margin_c" | "rain_max_mm" => "ITP-1",
                _ => "COLD",
            };
            assert_eq!(found["of"], owner, "{found:#}");
        }
        assert_eq!(found["why"].is_null(), broken.is_empty());
        if broken.is_empty() { workable += 1 } else { refused += 1 }
    }
    assert!(workable > 10 && refused > 10, "{workable} and {refused}: the test says nothing");
}

/// Dew points of 20 °C: 17.40 °C at 85 % (psychrolib 2.5.0). The wall is 9.5 mm: its lag is
/// 7850 · 480 · 0.0095 / 15 / 3600 = 0.6629 h, and steel that begins at 12 °C stands at
/// 20 − 8 e^(−1/0.6629) = 18.23 °C an hour later: by hand, values of the wall from memory.
#[actix_web::test]
async fn after_a_cold_wet_night_the_steel_comes_late() {
    let line = site().await;
    let plan = json!({ "lines": [
        { "spread": "A", "section": "S2", "from": "2026-06-11", "to": "2026-06-14", "joints_per_day": 22 },
        { "spread": "A", "section": "S1", "from": "2026-06-11", "to": "2026-06-12", "joints_per_day": 5 },
    ]});
    line.coordinator.puts("/plan", plan).await.expect(201);
    // 11 June, 5:50 on site; the working day is 7 to 18, so from 5:00 UTC.
    line.app.clock.set(at("2026-06-11T03:50:00Z"));
    for (minutes, steel_c) in [(241, 3.0), (30, 12.0), (20, 60.0)] {
        let one = with(
            reading(at("2026-06-11T04:00:00Z") - TimeDelta::minutes(minutes), 11.0),
            "steel_c",
            steel_c,
        );
        let one = if steel_c > 50.0 { with(one, "steel_c", Value::Null) } else { one };
        records(&line.crew, &one).await.expect(201);
    }
    let morning = [
        hour(at("2026-06-11T04:00:00Z"), 20.0, 85.0),
        hour(at("2026-06-11T05:00:00Z"), 20.0, 85.0),
        hour(at("2026-06-11T06:00:00Z"), 20.0, 60.0),
        with(hour(at("2026-06-11T07:00:00Z"), 20.0, 60.0), "rain_mm", 0.2),
    ];
    issues(&line.crew, &outlook(at("2026-06-11T03:00:00Z"), &morning)).await;
    let item = seen(&line, "ONE", 4).await;
    assert!((item["steel_lag_h"].as_f64().unwrap() - 0.6629).abs() < 1e-4);
    assert_eq!(item["steel_start_c"], 12.0);
    let hours = hours_of(&item);
    let steel = |index: usize| hours[index]["steel_c"].as_f64().unwrap();
    assert_eq!(steel(0), 12.0);
    assert!((steel(1) - 18.23).abs() < 0.005, "{}", steel(1));
    assert!((hours[1]["margin_c"].as_f64().unwrap() - (18.23 - 17.40)).abs() < 0.01);
    let why = |index: usize| hours[index]["why"].as_str().unwrap_or_default().to_owned();
    assert_eq!(why(0), "steel 5.4 °C below the dew point, ITP-1 asks for 3 above it");
    assert_eq!(why(1), "steel 0.8 °C above the dew point, ITP-1 asks for 3");
    assert_eq!(why(2), "");
    assert_eq!(why(3), "0.2 mm of rain in the hour, ITP-1 asks for at most 0");

    let day = &item["days"][0];
    assert_eq!((&day["on"], &day["working_day"]), (&json!("2026-06-11"), &json!(true)));
    let numbers = ["workable_hours", "working_hours", "untold_hours", "expected_joints"];
    let told = |day: &Value| numbers.map(|it| day[it].as_f64().unwrap());
    assert_eq!(told(day), [1.0, 11.0, 8.0, 2.0]);
    assert_eq!(day["share"], 1.0 / 11.0);
    let window =
        json!([{ "from": "2026-06-11T06:00:00Z", "to": "2026-06-11T07:00:00Z", "hours": 1 }]);
    assert_eq!(day["windows"], window);
    // Nothing is foretold of the next day; the fourth is a Sunday.
    assert_eq!(told(&item["days"][1]), [0.0, 11.0, 11.0, 0.0]);
    assert_eq!(
        (&item["days"][3]["working_day"], &item["days"][3]["expected_joints"]),
        (&json!(false), &json!(0.0))
    );
    // The other system is planned for two days only.
    let other = seen(&line, "TWO", 4).await;
    let expected = other["days"][0]["expected_joints"].as_f64().unwrap();
    assert!((expected - 5.0 / 11.0).abs() < 1e-12, "{expected}");
    assert_eq!(other["days"][2]["expected_joints"], Value::Null);
}

#[actix_web::test]
async fn an_hour_that_straddles_the_edge_of_the_working_day_counts_by_its_part() {
    let line = site().await;
    let calendar = json!({ "weekdays": ["thursday"], "day_from": "07:15", "day_to": "09:00" });
    line.coordinator.puts("/calendar", calendar).await.expect(201);
    let hours = mild(at("2026-06-11T04:30:00Z"), 6);
    issues(&line.crew, &outlook(ago(&line, 60), &hours)).await;
    let day = seen(&line, "ONE", 2).await["days"][1].clone();
    // From 5:15 to 7:00 UTC, all of it workable.
    assert_eq!((&day["workable_hours"], &day["working_hours"]), (&json!(1.75), &json!(1.75)));
    assert_eq!((&day["share"], &day["untold_hours"]), (&json!(1.0), &json!(0.0)));
    assert_eq!(day["windows"][0]["hours"], 6);
    let wrong = json!({ "weekdays": ["thursday"], "day_from": "18:00", "day_to": "07:00" });
    line.coordinator.puts("/calendar", wrong).await.problem(422, "INVALID");
}

#[actix_web::test]
async fn the_later_issue_is_believed_whenever_it_arrives() {
    let line = site().await;
    let tomorrow = at("2026-06-11T00:00:00Z");
    let cold = |from: DateTime<Utc>, hours: i64| -> Vec<Value> {
        mild(from, hours).into_iter().map(|it| with(it, "air_c", 2.0)).collect()
    };
    let airs = async || {
        let item = seen(&line, "ONE", 3).await;
        let hours = hours_of(&item);
        let cold = hours.iter().filter(|it| it["air_c"] == 2.0).count();
        (hours.len(), cold, item["outlook"]["issued_at"].clone())
    };
    let newest = outlook(ago(&line, 60), &mild(tomorrow, 12));
    issues(&line.crew, &with(newest.clone(), "source", "Office")).await;
    assert_eq!(airs().await, (12, 0, newest["issued_at"].clone()));
    // The older one comes later and tells more: the hours that the newer one leaves.
    issues(&line.crew, &outlook(ago(&line, 600), &cold(tomorrow, 20))).await;
    assert_eq!(airs().await, (20, 8, newest["issued_at"].clone()));
    // Of two issues of one instant the higher id.
    let same = with(
        outlook(ago(&line, 60), &cold(tomorrow, 6)),
        "id",
        "ffffffff-0000-7000-8000-000000000001",
    );
    issues(&line.crew, &same).await;
    assert_eq!(airs().await, (20, 14, newest["issued_at"].clone()));
    let low = with(
        outlook(ago(&line, 60), &mild(tomorrow, 20)),
        "id",
        "00000000-0000-7000-8000-000000000001",
    );
    issues(&line.crew, &low).await;
    assert_eq!(airs().await, (20, 6, newest["issued_at"].clone()));
    // Many short issues, hour by hour: each tells the hour before the next one.
    for back in 1..=12 {
        let from = tomorrow - TimeDelta::hours(back);
        issues(&line.crew, &outlook(ago(&line, 700 + back), &cold(from, 3))).await;
    }
    // Of these the days on site, from 22:00 UTC of 9 June on, hold all twelve.
    assert_eq!(airs().await, (32, 18, newest["issued_at"].clone()));
}

#[actix_web::test]
async fn without_an_outlook_nothing_is_told_and_nothing_refused() {
    let line = site().await;
    let item = seen(&line, "ONE", 1).await;
    assert_eq!((&item["outlook"], &item["steel_start_c"]), (&Value::Null, &Value::Null));
    let day = &item["days"][0];
    assert_eq!((&day["hours"], &day["windows"]), (&json!([]), &json!([])));
    assert_eq!((&day["untold_hours"], &day["share"]), (&json!(11.0), &json!(0.0)));
    assert_eq!(day["expected_joints"], Value::Null);
    let all = line.client.gets("/ambient/workable-hours").await.expect(200);
    let named: Vec<_> = all["items"]
        .as_array()
        .unwrap()
        .iter()
        .map(|it| {
            (
                it["spread"].as_str().unwrap(),
                it["system"].as_str().unwrap(),
                it["days"].as_array().unwrap().len(),
            )
        })
        .collect();
    assert_eq!(named, [("A", "ONE", 3), ("A", "TWO", 3)]);
    line.client.gets("/ambient/workable-hours?spread=Z").await.problem(404, "NOT_FOUND");
    line.client.gets("/ambient/workable-hours?system=Z").await.problem(404, "NOT_FOUND");
    for days in ["0", "11", "-1", "few"] {
        let path = format!("/ambient/workable-hours?days={days}");
        line.client.gets(&path).await.problem(400, "INVALID_PARAMETER");
    }
    line.stranger.gets("/ambient/workable-hours").await.problem(404, "NOT_FOUND");
}

/// Published: Directive 2000/84/EC, articles 2 and 3: in 2027 summer time goes from 28 March to
/// 31 October.
#[actix_web::test]
async fn days_on_site_have_23_24_or_25_hours() {
    let line = site().await;
    for (first, midnight, expected) in [
        ("2027-03-27", "2027-03-26T23:00:00Z", [24, 23, 24]),
        ("2027-10-30", "2027-10-29T22:00:00Z", [24, 25, 24]),
        ("2028-02-28", "2028-02-27T23:00:00Z", [24, 24, 24]),
    ] {
        let midnight = at(midnight);
        line.app.clock.set(midnight + TimeDelta::hours(10));
        let all = outlook(midnight, &mild(midnight, 96));
        issues(&line.crew, &all).await;
        let item = seen(&line, "ONE", 3).await;
        let days = item["days"].as_array().unwrap();
        assert_eq!(days[0]["on"], first);
        let counts: Vec<usize> =
            days.iter().map(|it| it["hours"].as_array().unwrap().len()).collect();
        assert_eq!(counts, expected, "{first}");
        for day in days {
            assert_eq!(
                (&day["working_hours"], &day["workable_hours"]),
                (&json!(11.0), &json!(11.0))
            );
            let window = &day["windows"][0];
            assert_eq!(window["hours"], day["hours"].as_array().unwrap().len());
        }
    }
    let leap = seen(&line, "ONE", 3).await;
    let on: Vec<&Value> = leap["days"].as_array().unwrap().iter().map(|it| &it["on"]).collect();
    assert_eq!(on, ["2028-02-28", "2028-02-29", "2028-03-01"]);
}
