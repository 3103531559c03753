//! Server-sent events as the HTML standard writes them (WHATWG HTML, "Server-sent events").

use std::fmt::Write;

use actix_web::web::Bytes;
use app::feed::Entry;
use serde_json::{Value, json};
use store::feed::Kept;

use super::list_changes::ChangeView;

/// How long a client waits before it connects again, ms.
const RETRY_MS: u32 = 3000;

/// The first words: how soon to come back, and where the stream stands.
pub fn greeting(position: i64) -> Bytes {
    Bytes::from(format!("retry: {RETRY_MS}\n\n{}", event(position, "heartbeat", &at(position))))
}

/// A sign of life: a comment for what lies between, an event for the client. Its id lets a client
/// that has seen no change yet resume from here.
pub fn heartbeat(position: i64) -> Bytes {
    Bytes::from(format!(": ping\n\n{}", event(position, "heartbeat", &at(position))))
}

/// What was missed is not kept: the client has to read a snapshot and goes on from here.
pub fn reset(kept: Kept) -> Bytes {
    let data = json!({ "oldest": kept.oldest, "head": kept.head });
    Bytes::from(event(kept.head, "reset", &data))
}

/// Changes, one event each.
pub fn changes<'a>(entries: impl IntoIterator<Item = &'a Entry>) -> Bytes {
    let mut text = String::new();
    for entry in entries {
        let data = serde_json::to_value(ChangeView::from(entry)).unwrap_or_default();
        text.push_str(&event(entry.seq, &entry.topic, &data));
    }
    Bytes::from(text)
}

fn at(position: i64) -> Value {
    json!({ "seq": position })
}

/// JSON on one line holds no line break, so `data` is one field.
fn event(id: i64, name: &str, data: &Value) -> String {
    let mut text = String::new();
    // Writing into text cannot fail.
    let _ = write!(text, "id: {id}\nevent: {name}\ndata: {data}\n\n");
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_event_has_its_number_its_topic_and_one_line_of_data() {
        let entry = Entry {
            seq: 7,
            topic: "joint.changed".to_owned(),
            subject: "J-1".to_owned(),
            body: json!({ "stage": "wrapped", "note": "two\nlines" }),
            at: chrono::DateTime::UNIX_EPOCH,
        };
        assert_eq!(
            changes([&entry]),
            "id: 7\nevent: joint.changed\n\
             data: {\"at\":\"1970-01-01T00:00:00Z\",\
             \"body\":{\"note\":\"two\\nlines\",\"stage\":\"wrapped\"},\
             \"seq\":7,\"subject\":\"J-1\",\"topic\":\"joint.changed\"}\n\n"
        );
        assert_eq!(heartbeat(7), ": ping\n\nid: 7\nevent: heartbeat\ndata: {\"seq\":7}\n\n");
    }
}
