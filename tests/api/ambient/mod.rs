//! The weather: what those who read it can rely on.

#![expect(clippy::float_cmp, reason = "a number comes back as the very number that was sent")]

mod following;
mod many;
mod outlooks;
mod readings;
mod tables;
mod warning;
mod workable;

use actix_web::{http::Method, test::TestRequest};
use chrono::{DateTime, TimeDelta, Utc};
use harness::{Line, Person, app::Answer};
use serde_json::{Value, json};
use uuid::Uuid;

/// The line with a yard. It is 10 June 2026, 16:00 UTC.
async fn site() -> Line {
    let line = Line::new().await;
    puts(&line.admin, "stock/locations", "YARD", json!({ "name": "Yard", "kind": "yard" })).await;
    line
}

/// Puts a new item of the set-up.
async fn puts(by: &Person, kind: &str, code: &str, mut item: Value) {
    item["code"] = json!(code);
    by.asks(Method::PUT, &by.path(&format!("/{kind}/{code}")), Some(item)).await.expect(201);
}

/// A reading at spread A.
fn reading(read_at: DateTime<Utc>, air_c: f64) -> Value {
    json!({
        "id": Uuid::now_v7(), "spread": "A", "read_at": read_at, "air_c": air_c,
        "relative_humidity_percent": 70.0,
    })
}

/// The same with another value in `field`; null takes the field out.
fn with(mut of: Value, field: &str, value: impl Into<Value>) -> Value {
    of[field] = value.into();
    of.as_object_mut().unwrap().retain(|_, value| !value.is_null());
    of
}

/// So many minutes ago.
fn ago(line: &Line, minutes: i64) -> DateTime<Utc> {
    line.app.now() - TimeDelta::minutes(minutes)
}

async fn records(who: &Person, reading: &Value) -> Answer {
    who.posts("/ambient/readings", reading.clone()).await
}

/// Uploads a table to `path` in the project.
async fn uploads(line: &Line, who: &Person, path: &str, table: impl Into<String>) -> Answer {
    let request = TestRequest::post()
        .uri(&who.path(path))
        .insert_header(("authorization", format!("Bearer {}", who.token().await)))
        .insert_header(("content-type", "text/csv"))
        .set_payload(table.into());
    line.app.call(request).await
}

/// The items of the list.
async fn listed(who: &Person, query: &str) -> Vec<Value> {
    let page = who.gets(&format!("/ambient/readings?{query}")).await.expect(200);
    page["items"].as_array().unwrap().clone()
}

fn airs(items: &[Value]) -> Vec<f64> {
    items.iter().map(|it| it["air_c"].as_f64().unwrap()).collect()
}

/// An hour of an outlook.
fn hour(at: DateTime<Utc>, air_c: f64, relative_humidity_percent: f64) -> Value {
    json!({ "at": at, "air_c": air_c, "relative_humidity_percent": relative_humidity_percent })
}

/// An outlook of spread A.
fn outlook(issued_at: DateTime<Utc>, hours: &[Value]) -> Value {
    json!({ "id": Uuid::now_v7(), "spread": "A", "issued_at": issued_at, "hours": hours })
}

/// So many whole hours from `from` on, mild and dry.
fn mild(from: DateTime<Utc>, hours: i64) -> Vec<Value> {
    (0..hours).map(|it| hour(from + TimeDelta::hours(it), 18.0, 55.0)).collect()
}

fn at(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}
