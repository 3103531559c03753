//! A stream of server-sent events, read as a client reads it.

use std::{future::poll_fn, pin::Pin, time::Duration};

use actix_web::{
    body::{BoxBody, MessageBody},
    dev::ServiceResponse,
    http::header::HeaderMap,
};
use serde_json::Value;

/// Far longer than anything that is waited for; only a test that fails waits so long.
const PATIENCE: Duration = Duration::from_secs(20);

/// One event.
#[derive(Debug, Clone, PartialEq)]
pub struct Event {
    /// The last `id` of the stream.
    pub id: i64,
    /// Its name.
    pub name: String,
    /// Its data.
    pub data: Value,
}

/// An open stream; dropped, the client has hung up.
pub struct EventStream {
    /// The HTTP status.
    pub status: u16,
    /// The headers.
    pub headers: HeaderMap,
    body: Pin<Box<BoxBody>>,
    read: String,
}

impl EventStream {
    pub(crate) fn of<B: MessageBody + 'static>(response: ServiceResponse<B>) -> Self {
        let status = response.status().as_u16();
        let headers = response.headers().clone();
        let body = Box::pin(response.map_into_boxed_body().into_body());
        Self { status, headers, body, read: String::new() }
    }

    /// The next event but heartbeats; nothing if the stream has ended.
    pub async fn next(&mut self) -> Option<Event> {
        loop {
            let event = self.next_of_any_kind().await?;
            if event.name != "heartbeat" {
                return Some(event);
            }
        }
    }

    /// The next `count` events but heartbeats.
    pub async fn take(&mut self, count: usize) -> Vec<Event> {
        let mut events = Vec::new();
        while events.len() < count {
            events.push(self.next().await.unwrap());
        }
        events
    }

    /// The next event; nothing if the stream has ended.
    pub async fn next_of_any_kind(&mut self) -> Option<Event> {
        loop {
            if let Some((block, rest)) = self.read.split_once("\n\n") {
                let event = event(block);
                self.read = String::from(rest);
                match event {
                    Some(event) => return Some(event),
                    None => continue,
                }
            }
            let chunk = poll_fn(|context| self.body.as_mut().poll_next(context));
            let chunk = tokio::time::timeout(PATIENCE, chunk).await.unwrap();
            self.read.push_str(std::str::from_utf8(&chunk?.unwrap()).unwrap());
        }
    }
}

/// A block of lines; comments and `retry` alone are no event.
fn event(block: &str) -> Option<Event> {
    let field = |name: &str| {
        block
            .lines()
            .find_map(|line| line.strip_prefix(name)?.strip_prefix(": ").map(str::to_owned))
    };
    let data = serde_json::from_str(&field("data")?).unwrap();
    Some(Event { id: field("id")?.parse().unwrap(), name: field("event")?, data })
}
