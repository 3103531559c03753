//! The whole application on a database of its own, called without a socket.

use std::{rc::Rc, sync::Arc, time::Duration};

use ::app::{
    App, Clock, FixedClock,
    feed::{Hub, Pace},
    seal::Sealer,
};
use actix_web::{
    body::MessageBody,
    dev::ServiceResponse,
    http::header::HeaderMap,
    test::{TestRequest, call_service, init_service},
};
use auth::{Hasher, SealKey};
use chrono::{DateTime, TimeDelta, Utc};
use futures_util::future::{FutureExt, LocalBoxFuture};
use serde_json::Value;
use webhooks::{Reach, Sender};

use crate::{
    database::{Database, fresh_database},
    fact::minute,
    stream::EventStream,
};

/// The minute of the test day at which the clock stands first: all of the day's work is over.
const FIRST_MINUTE: i64 = 600;

/// What is done every minute is done so often that no test has to wait for it.
const PACE: Pace = Pace {
    look: Duration::from_millis(20),
    heartbeat: Duration::from_millis(200),
    recheck: Duration::from_millis(50),
};

type Call<T> = Box<dyn Fn(TestRequest) -> LocalBoxFuture<'static, T>>;

/// The application with a clock that stands still.
pub struct TestApp {
    /// What the use cases are handed.
    pub app: App,
    /// What jobs are handed.
    pub worker: App,
    /// Its clock.
    pub clock: Arc<FixedClock>,
    /// Its database.
    pub database: Database,
    call: Call<Answer>,
    open: Call<EventStream>,
}

impl TestApp {
    /// The application on an empty database.
    pub async fn new() -> Rc<Self> {
        Self::with(api::Settings::default()).await
    }

    /// The same with these settings.
    pub async fn with(settings: api::Settings) -> Rc<Self> {
        let database = fresh_database().await;
        let clock = Arc::new(FixedClock::new(minute(FIRST_MINUTE)));
        let pool = database.application.clone();
        let hub = Hub::new(pool.clone(), PACE);
        let app = App::new(pool, Arc::clone(&clock) as _, Hasher::cheap_for_tests()).await.unwrap();
        // Those who listen in tests are on this machine.
        let sender = Sender::new(Reach::Anywhere);
        let app = App { hub, ..app }.sending_by(sender.clone());
        let worker = App::for_work(database.worker.clone(), Arc::clone(&clock) as _);
        let key = Arc::new(SealKey::generate().unwrap());
        let sealer = Sealer { key, folder: None };
        let worker = worker.sending_by(sender).sealing_by(Some(sealer));
        let service = Rc::new(init_service(api::service(app.clone(), settings)).await);
        let streaming = Rc::clone(&service);
        let open: Call<EventStream> = Box::new(move |request| {
            let service = Rc::clone(&streaming);
            let answer = async move { call_service(&*service, request.to_request()).await };
            answer.map(EventStream::of).boxed_local()
        });
        let call: Call<Answer> = Box::new(move |request| {
            let service = Rc::clone(&service);
            let answer = async move { call_service(&*service, request.to_request()).await };
            answer.then(Answer::read).boxed_local()
        });
        Rc::new(Self { app, worker, clock, database, call, open })
    }

    /// The answer to `request`.
    pub async fn call(&self, request: TestRequest) -> Answer {
        (self.call)(request).await
    }

    /// Opens the stream that `request` asks for.
    pub async fn open(&self, request: TestRequest) -> EventStream {
        (self.open)(request).await
    }

    /// The time.
    pub fn now(&self) -> DateTime<Utc> {
        self.clock.now()
    }

    /// Lets time pass.
    pub fn wait(&self, time: TimeDelta) {
        self.clock.advance(time);
    }

    /// The first column of the first row of `statement`.
    pub async fn count(&self, statement: &'static str) -> i64 {
        sqlx::query_scalar(statement).fetch_one(&self.database.pool).await.unwrap()
    }
}

/// What was answered.
#[derive(Debug, Clone)]
pub struct Answer {
    /// The HTTP status.
    pub status: u16,
    /// The headers.
    pub headers: HeaderMap,
    /// The body; null where it is no JSON.
    pub body: Value,
    /// The body as it came.
    pub bytes: Vec<u8>,
}

impl Answer {
    async fn read<B: MessageBody>(response: ServiceResponse<B>) -> Self {
        let status = response.status().as_u16();
        let headers = response.headers().clone();
        let kind = headers.get("content-type").and_then(|it| it.to_str().ok()).unwrap_or_default();
        if kind.starts_with("text/event-stream") {
            // It never ends; who wants to read it opens it.
            return Self { status, headers, body: Value::Null, bytes: Vec::new() };
        }
        let bytes = actix_web::body::to_bytes(response.into_body()).await.ok().unwrap_or_default();
        let body = serde_json::from_slice(&bytes).unwrap_or_default();
        Self { status, headers, body, bytes: bytes.to_vec() }
    }

    /// The body of an answer of that status.
    #[track_caller]
    pub fn expect(self, status: u16) -> Value {
        assert_eq!(self.status, status, "{:#}", self.body);
        self.body
    }

    /// The body of a problem of that status and code, which has to look like one.
    #[track_caller]
    pub fn problem(self, status: u16, code: &str) -> Value {
        assert_eq!(self.status, status, "{:#}", self.body);
        assert_eq!(self.header("content-type"), "application/problem+json");
        assert_eq!(self.body["code"], code, "{:#}", self.body);
        assert_eq!(self.body["status"], status);
        let told = api::KINDS.iter().find(|it| it.code == code);
        assert_eq!(told.map(|it| it.status), Some(status), "{code} is not in the list of problems");
        self.body
    }

    /// A header; empty where there is none.
    pub fn header(&self, name: &str) -> &str {
        self.headers.get(name).and_then(|value| value.to_str().ok()).unwrap_or_default()
    }

    /// The codes of the conditions that stand in the way of one joint.
    #[track_caller]
    pub fn refusal(self) -> Vec<String> {
        let body = self.problem(409, "RELEASE_REFUSED");
        codes(&body["blocking_conditions"])
    }
}

/// The `code` of every item, in order, each once.
pub fn codes(items: &Value) -> Vec<String> {
    texts(items, "code")
}

/// The text `field` of every item, in order, each once.
pub fn texts(items: &Value, field: &str) -> Vec<String> {
    let mut found: Vec<String> = Vec::new();
    for item in items.as_array().into_iter().flatten() {
        let text = item[field].as_str().unwrap_or_default().to_owned();
        if !found.contains(&text) {
            found.push(text);
        }
    }
    found
}
