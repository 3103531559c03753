//! Changes that are sent to others.

use std::{
    collections::VecDeque,
    sync::{Arc, Mutex},
};

use actix_web::{http::Method, test::TestRequest};
use app::webhooks::{Delivered, ask_due, deliver};
use chrono::TimeDelta;
use harness::{
    Answer, Line,
    fact::{damage_found, welded},
};
use serde_json::{Value, json};
use tokio::{
    io::{AsyncReadExt, AsyncWriteExt},
    net::TcpListener,
};
use uuid::Uuid;
use webhooks::{Reach, Secret, Sender, sign};

/// What was asked of a receiver.
#[derive(Debug, Clone)]
struct Asked {
    headers: Vec<(String, String)>,
    body: String,
}

impl Asked {
    fn header(&self, name: &str) -> &str {
        self.headers.iter().find(|(it, _)| it == name).map_or("", |(_, value)| value)
    }

    fn json(&self) -> Value {
        serde_json::from_str(&self.body).unwrap()
    }

    fn is_signed_by(&self, secret: &str) -> bool {
        let secret = Secret::parse(secret).unwrap();
        let timestamp_s = self.header("webhook-timestamp").parse().unwrap();
        let signature =
            sign(&[secret], self.header("webhook-id"), timestamp_s, self.body.as_bytes());
        self.header("webhook-signature").split(' ').any(|it| it == signature)
    }
}

/// Somebody who listens on this machine, and answers 204 once the script is at its end.
struct Receiver {
    url: String,
    script: Arc<Mutex<VecDeque<&'static str>>>,
    asked: Arc<Mutex<Vec<Asked>>>,
}

impl Receiver {
    async fn new() -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let url = format!("http://{}/in", listener.local_addr().unwrap());
        let script: Arc<Mutex<VecDeque<&'static str>>> = Arc::default();
        let asked: Arc<Mutex<Vec<Asked>>> = Arc::default();
        let (answers, heard) = (Arc::clone(&script), Arc::clone(&asked));
        tokio::spawn(async move {
            loop {
                let (mut stream, _) = listener.accept().await.unwrap();
                let mut bytes = Vec::new();
                let asked = loop {
                    let mut part = [0; 4096];
                    let read = stream.read(&mut part).await.unwrap();
                    bytes.extend_from_slice(&part[..read]);
                    if let Some(asked) = read_request(&bytes) {
                        break asked;
                    }
                    assert!(read > 0, "the request ends too early");
                };
                heard.lock().unwrap().push(asked);
                let answer = answers.lock().unwrap().pop_front().unwrap_or("204 No Content");
                let text = format!("HTTP/1.1 {answer}\r\ncontent-length: 0\r\n\r\n");
                stream.write_all(text.as_bytes()).await.unwrap();
            }
        });
        Self { url, script, asked }
    }

    fn answers(&self, script: &[&'static str]) {
        self.script.lock().unwrap().extend(script);
    }

    fn asked(&self) -> Vec<Asked> {
        self.asked.lock().unwrap().clone()
    }
}

fn read_request(bytes: &[u8]) -> Option<Asked> {
    let text = std::str::from_utf8(bytes).ok()?;
    let (head, body) = text.split_once("\r\n\r\n")?;
    let headers: Vec<(String, String)> = head
        .lines()
        .skip(1)
        .filter_map(|line| line.split_once(": "))
        .map(|(name, value)| (name.to_owned(), value.to_owned()))
        .collect();
    let length: usize =
        headers.iter().find(|(name, _)| name == "content-length")?.1.parse().ok()?;
    (body.len() == length).then(|| Asked { headers, body: body.to_owned() })
}

struct Hook {
    id: Uuid,
    secret: String,
}

async fn adds(line: &Line, receiver: &Receiver, topics: &[&str]) -> Hook {
    let body = json!({ "url": receiver.url, "topics": topics });
    let new = line.admin.posts("/webhooks", body).await.expect(201);
    let id = new["webhook"]["id"].as_str().unwrap().parse().unwrap();
    Hook { id, secret: new["secret"].as_str().unwrap().to_owned() }
}

async fn sends(line: &Line, hook: &Hook) -> Delivered {
    deliver(&line.app.worker, line.project, hook.id).await.unwrap()
}

async fn deliveries(line: &Line, hook: &Hook, query: &str) -> Vec<Value> {
    let path = format!("/webhooks/{}/deliveries{query}", hook.id);
    line.admin.gets(&path).await.expect(200)["items"].as_array().unwrap().clone()
}

async fn shown(line: &Line, hook: &Hook) -> Value {
    let all = line.admin.gets("/webhooks").await.expect(200);
    let id = hook.id.to_string();
    all["items"].as_array().unwrap().iter().find(|it| it["id"] == id.as_str()).unwrap().clone()
}

async fn asks_with(line: &Line, method: Method, path: &str, body: Value, tag: &str) -> Answer {
    let request = TestRequest::with_uri(&line.admin.path(path))
        .method(method)
        .insert_header(("authorization", format!("Bearer {}", line.admin.token().await)))
        .insert_header(("if-match", tag))
        .set_json(body);
    line.app.call(request).await
}

#[actix_web::test]
async fn what_changes_is_sent_once_and_signed() {
    let line = Line::with_joints(3).await;
    let receiver = Receiver::new().await;
    let hook = adds(&line, &receiver, &["joint.changed"]).await;
    for joint in 1..=3 {
        line.crew.records(&format!("J-{joint}"), &welded(0)).await.expect(201);
    }
    assert_eq!(sends(&line, &hook).await, Delivered { taken_up: 3, delivered: 3, failed: 0 });
    assert_eq!(sends(&line, &hook).await, Delivered::default());

    let asked = receiver.asked();
    let subjects: Vec<Value> =
        asked.iter().map(|it| it.json()["data"]["subject"].clone()).collect();
    assert_eq!(subjects, ["J-1", "J-2", "J-3"]);
    for it in &asked {
        assert!(it.is_signed_by(&hook.secret));
        assert_eq!(it.header("content-type"), "application/json");
        assert_eq!(it.json()["type"], "joint.changed");
        assert_eq!(it.json()["data"]["project"], json!(line.project));
    }
    let ids: std::collections::BTreeSet<_> =
        asked.iter().map(|it| it.header("webhook-id").to_owned()).collect();
    assert_eq!(ids.len(), 3);
    assert!(deliveries(&line, &hook, "?status=delivered").await.len() == 3);
}

#[actix_web::test]
async fn only_the_wanted_topics_are_sent() {
    let line = Line::with_ready_joint().await;
    line.qa.releases("J-1").await.expect(201);
    let receiver = Receiver::new().await;
    let hook = adds(&line, &receiver, &["release.contradicted", "warning.raised"]).await;
    line.crew.records("J-1", &damage_found(500)).await.expect(201);
    let done = sends(&line, &hook).await;
    assert_eq!((done.taken_up, done.delivered), (4, 2));
    let kinds: Vec<Value> = receiver.asked().iter().map(|it| it.json()["type"].clone()).collect();
    assert_eq!(kinds, ["release.contradicted", "warning.raised"]);
}

#[actix_web::test]
async fn what_is_not_taken_is_sent_again_and_given_up_in_the_end() {
    let line = Line::with_joints(1).await;
    let receiver = Receiver::new().await;
    let hook = adds(&line, &receiver, &[]).await;
    line.crew.records("J-1", &welded(0)).await.expect(201);
    receiver.answers(&["503 Service Unavailable"; 10]);
    let mut waits = Vec::new();
    for attempt in 1..=10 {
        assert_eq!(ask_due(&line.app.worker).await.unwrap(), 1);
        assert_eq!(ask_due(&line.app.worker).await.unwrap(), 0, "asked for once");
        assert_eq!(sends(&line, &hook).await.failed, 1);
        assert_eq!(sends(&line, &hook).await, Delivered::default(), "not before its time");
        let it = &deliveries(&line, &hook, "").await[0];
        assert_eq!(
            (it["attempts"].as_i64(), it["answered_status"].as_i64()),
            (Some(attempt), Some(503))
        );
        if let Some(next) = it["next_at"].as_str() {
            let next: chrono::DateTime<chrono::Utc> = next.parse().unwrap();
            let wait = next - line.app.now();
            waits.push(wait.num_seconds());
            line.waits(wait);
        }
    }
    // Standard Webhooks 1.0.0, the schedule of its example, and up to a tenth more.
    let scheduled = [5, 300, 1800, 7200, 18_000, 36_000, 50_400, 72_000, 86_400];
    assert_eq!(waits.len(), scheduled.len());
    for (wait, scheduled) in waits.iter().zip(scheduled) {
        assert!((scheduled..=scheduled + scheduled / 10).contains(wait), "{wait} {scheduled}");
    }
    assert_eq!(ask_due(&line.app.worker).await.unwrap(), 0);
    let failed = deliveries(&line, &hook, "?status=failed").await;
    assert_eq!(failed.len(), 1);
    let ids: std::collections::BTreeSet<_> =
        receiver.asked().iter().map(|it| it.header("webhook-id").to_owned()).collect();
    assert_eq!(ids.len(), 1, "the same message however often it is sent");

    let id = failed[0]["id"].as_str().unwrap();
    let path = format!("/webhooks/{}/deliveries/{id}/resend", hook.id);
    assert_eq!(line.admin.posts(&path, json!({})).await.status, 202);
    assert_eq!(sends(&line, &hook).await.delivered, 1);
    assert_eq!(deliveries(&line, &hook, "?status=failed").await.len(), 0);
}

#[actix_web::test]
async fn who_answers_410_hears_nothing_more() {
    let line = Line::with_joints(1).await;
    let receiver = Receiver::new().await;
    let hook = adds(&line, &receiver, &[]).await;
    line.crew.records("J-1", &welded(0)).await.expect(201);
    receiver.answers(&["410 Gone"]);
    assert_eq!(sends(&line, &hook).await.failed, 1);
    let seen = shown(&line, &hook).await;
    assert_eq!(seen["enabled"], false);
    assert!(seen["disabled_reason"].as_str().unwrap().contains("410"));
    assert_eq!(deliveries(&line, &hook, "?status=failed").await.len(), 1);

    line.crew.records("J-1", &damage_found(5)).await.expect(201);
    assert_eq!(ask_due(&line.app.worker).await.unwrap(), 0);
    assert_eq!(sends(&line, &hook).await, Delivered::default());
    let id = deliveries(&line, &hook, "").await[0]["id"].as_str().unwrap().to_owned();
    let path = format!("/webhooks/{}/deliveries/{id}/resend", hook.id);
    line.admin.posts(&path, json!({})).await.problem(409, "WEBHOOK_DISABLED");

    let path = format!("/webhooks/{}", hook.id);
    let body = json!({ "url": receiver.url, "topics": [] });
    asks_with(&line, Method::PUT, &path, body.clone(), "\"v1\"")
        .await
        .problem(412, "VERSION_IS_STALE");
    let put = asks_with(&line, Method::PUT, &path, body, "\"v2\"").await.expect(200);
    assert_eq!((put["enabled"].as_bool(), put["disabled_reason"].as_str()), (Some(true), None));
    line.crew.records("J-1", &damage_found(6)).await.expect(201);
    assert_eq!(sends(&line, &hook).await.delivered, 1, "only what comes from now on");
}

#[actix_web::test]
async fn a_redirect_is_not_followed() {
    let line = Line::with_joints(1).await;
    let (receiver, elsewhere) = (Receiver::new().await, Receiver::new().await);
    let hook = adds(&line, &receiver, &[]).await;
    line.crew.records("J-1", &welded(0)).await.expect(201);
    let answer = format!("302 Found\r\nlocation: {}", elsewhere.url);
    receiver.answers(&[Box::leak(answer.into_boxed_str())]);
    assert_eq!(sends(&line, &hook).await.failed, 1);
    assert_eq!(deliveries(&line, &hook, "").await[0]["answered_status"], 302);
    assert!(elsewhere.asked().is_empty());
}

#[actix_web::test]
async fn a_secret_is_shown_once_and_replaced_without_a_gap() {
    let line = Line::with_joints(1).await;
    let receiver = Receiver::new().await;
    let hook = adds(&line, &receiver, &[]).await;
    let listed = line.admin.gets("/webhooks").await.expect(200).to_string();
    assert!(!listed.contains("whsec_") && !listed.contains("\"secret\""), "{listed}");

    let rotated = line.admin.posts(&format!("/webhooks/{}/secret", hook.id), json!({})).await;
    let new = rotated.expect(200)["secret"].as_str().unwrap().to_owned();
    assert_ne!(new, hook.secret);
    let mut signed_by = Vec::new();
    for (minute, wait) in
        [(0, TimeDelta::hours(23)), (5, TimeDelta::hours(2)), (6, TimeDelta::zero())]
    {
        line.crew.records("J-1", &damage_found(minute)).await.expect(201);
        sends(&line, &hook).await;
        let asked = receiver.asked().pop().unwrap();
        signed_by.push((asked.is_signed_by(&hook.secret), asked.is_signed_by(&new)));
        line.waits(wait);
    }
    assert_eq!(signed_by, [(true, true), (true, true), (false, true)]);
}

#[actix_web::test]
async fn a_key_keeps_no_secret() {
    let line = Line::with_joints(1).await;
    let receiver = Receiver::new().await;
    let request = TestRequest::with_uri(&line.admin.path("/webhooks"))
        .method(Method::POST)
        .insert_header(("authorization", format!("Bearer {}", line.admin.token().await)))
        .insert_header(("idempotency-key", "k-1"))
        .insert_header(("accept-encoding", "gzip"))
        .set_json(json!({ "url": receiver.url }));
    let answer = line.app.call(request).await;
    assert_eq!(answer.header("content-encoding"), "identity");
    answer.expect(201);
    assert_eq!(line.app.count("SELECT count(*) FROM idempotency_keys").await, 0);
}

#[actix_web::test]
async fn nothing_is_sent_inside() {
    let line = Line::with_joints(1).await;
    let app = line.app.app.clone().sending_by(Sender::new(Reach::Public));
    let (actor, project) = (line.admin.actor().await, line.admin.entry().await);
    for url in [
        "https://127.0.0.1/",
        "https://[::ffff:169.254.169.254]/",
        "https://2130706433/",
        "https://localhost/",
        "http://hooks.example.org/",
        "https://10.0.0.1/",
    ] {
        let wanted = store::webhooks::Wanted { url, topics: &[], enabled: true };
        let refused = app::webhooks::create(&app, &actor, &project, &wanted).await;
        let Err(app::AppError::Invalid(faults)) = refused else { panic!("{url}: {refused:?}") };
        assert_eq!(
            (faults[0].pointer.as_str(), faults[0].code.as_str()),
            ("#/url", "ADDRESS_REFUSED")
        );
    }
    // Taken while private addresses were allowed, it is not sent to once they are not.
    let receiver = Receiver::new().await;
    let hook = adds(&line, &receiver, &[]).await;
    line.crew.records("J-1", &welded(0)).await.expect(201);
    let worker = line.app.worker.clone().sending_by(Sender::new(Reach::Public));
    assert_eq!(deliver(&worker, line.project, hook.id).await.unwrap().failed, 1);
    assert!(receiver.asked().is_empty());
}

#[actix_web::test]
async fn a_webhook_that_is_deleted_is_gone() {
    let line = Line::with_joints(1).await;
    let receiver = Receiver::new().await;
    let hook = adds(&line, &receiver, &[]).await;
    line.crew.records("J-1", &welded(0)).await.expect(201);
    sends(&line, &hook).await;
    let path = format!("/webhooks/{}", hook.id);
    line.admin
        .asks(Method::DELETE, &line.admin.path(&path), None)
        .await
        .problem(428, "IF_MATCH_REQUIRED");
    let gone = asks_with(&line, Method::DELETE, &path, json!({}), "\"v1\"").await;
    assert_eq!(gone.status, 204);
    line.admin.gets(&format!("{path}/deliveries")).await.problem(404, "NOT_FOUND");
    assert_eq!(line.app.count("SELECT count(*) FROM webhook_deliveries").await, 0);
    let topic = json!({ "url": receiver.url, "topics": ["everything"] });
    line.admin.posts("/webhooks", topic).await.problem(422, "INVALID");
}
