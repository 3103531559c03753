//! Who asks too often is told to wait, and how long.

use actix_web::test::TestRequest;
use api::{Limiter, Quotas, Settings, extract::Proxies};
use harness::{Answer, Line, TestApp};
use serde_json::json;

fn overlap(forwarded: &str) -> TestRequest {
    TestRequest::post()
        .uri("/v1/calculations/overlap")
        .peer_addr("192.0.2.7:4711".parse().unwrap())
        .insert_header(("x-forwarded-for", forwarded))
        .set_json(json!({ "tape_width_mm": 100, "pitch_mm": 45 }))
}

fn wait_of(answer: &Answer) -> u64 {
    answer.header("retry-after").parse().unwrap()
}

#[actix_web::test]
async fn a_stranger_cannot_write_another_address() {
    let app = TestApp::with(Settings::new(Limiter::per_minute(5), Proxies::default())).await;
    let first = app.call(overlap("198.51.100.1")).await;
    assert_eq!(first.header("ratelimit-policy"), "\"calculations\";q=5;w=60");
    assert_eq!(first.header("ratelimit"), "\"calculations\";r=4;t=12");
    for number in 2..=5 {
        app.call(overlap(&format!("198.51.100.{number}"))).await;
    }
    let refused = app.call(overlap("198.51.100.6")).await;
    assert!((1..=12).contains(&wait_of(&refused)));
    assert!(refused.header("ratelimit").starts_with("\"calculations\";r=0;t="));
    let problem = refused.problem(429, "TOO_MANY_REQUESTS");
    assert_eq!(problem["violated-policies"], json!(["calculations"]));
}

#[actix_web::test]
async fn one_user_who_asks_too_often_waits_and_the_others_do_not() {
    let settings = Settings::default().with_quotas(Quotas::per_minute(100, 0));
    let line = Line::with(settings).await;
    let mut refused = None;
    // Tokens come back meanwhile, so it can take some more.
    for _ in 0..5000 {
        let answer = line.client.gets("").await;
        if answer.status == 429 {
            refused = Some(answer);
            break;
        }
        assert_eq!(answer.header("ratelimit-policy"), "\"requests\";q=100;w=60");
    }
    let refused = refused.unwrap();
    assert_eq!(wait_of(&refused), 1);
    let problem = refused.problem(429, "TOO_MANY_REQUESTS");
    assert_eq!(problem["violated-policies"], json!(["requests"]));
    line.crew.gets("").await.expect(200);
}

#[actix_web::test]
async fn what_had_not_changed_costs_nothing() {
    let settings = Settings::default().with_quotas(Quotas::per_minute(100, 0));
    let line = Line::with(settings).await;
    let token = line.client.token().await;
    let asks = |seen: String| {
        let request = TestRequest::get()
            .uri("/v1/projects/NORTH")
            .insert_header(("authorization", format!("Bearer {token}")))
            .insert_header(("if-none-match", seen));
        line.app.call(request)
    };
    let tag = asks(String::new()).await.header("etag").to_owned();
    for _ in 0..200 {
        let answer = asks(tag.clone()).await;
        assert_eq!(answer.status, 304);
        let left = answer.header("ratelimit").to_owned();
        assert!(
            ["\"requests\";r=99;t=1", "\"requests\";r=100;t=0"].contains(&left.as_str()),
            "{left}"
        );
    }
}

#[actix_web::test]
async fn a_thousand_releases_at_once_are_not_looked_at() {
    let settings = Settings::default().with_quotas(Quotas::per_minute(0, Quotas::USUAL_RELEASES));
    let line = Line::with(settings).await;
    let mut looked_at = 0;
    for _ in 0..1000 {
        let answer = line.qa.posts("/backfill-releases", json!({ "joints": ["J-1"] })).await;
        if answer.status == 429 {
            answer.problem(429, "TOO_MANY_REQUESTS");
        } else {
            looked_at += 1;
        }
    }
    // The usual minute's worth, and what came back while this ran: two in a second.
    assert!((120..240).contains(&looked_at), "{looked_at}");
    line.qa.posts("/backfill-releases?validate_only=true", json!({ "joints": ["J-1"] })).await;
    line.qa.gets("").await.expect(200);
}
