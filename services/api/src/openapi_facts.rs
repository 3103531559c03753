//! How a fact is described: what a client sends, and what it reads.
//!
//! The kinds of facts are closed, so that a typo is refused; a description that only adds `kind`
//! and `id` beside a closed kind would fit nothing at all. Therefore every kind is written out
//! whole for requests, and is open where it is a part of what is read.

use serde_json::{Map, Value, json};

/// Puts the descriptions of facts right in the whole `document`.
pub fn describe(document: &mut Value) {
    let kinds = kinds(document);
    let Some(schemas) = document.pointer_mut("/components/schemas").and_then(Value::as_object_mut)
    else {
        return;
    };
    let read = kinds.iter().map(|(_, kind)| {
        let mut open = kind.clone();
        open.remove("additionalProperties");
        Value::Object(open)
    });
    let read = json!({ "description": "What happened.", "oneOf": read.collect::<Vec<_>>() });
    let sent = one_of(&kinds, "A fact as a client sends it.", &[]);
    let batch = one_of(&kinds, "A fact as an item of a batch.", &["joint"]);
    schemas.insert("Event".to_owned(), read);
    schemas.insert("NewFact".to_owned(), sent);
    schemas.insert("BatchFact".to_owned(), batch);
    // They stand inside the others now.
    for (name, _) in kinds {
        schemas.remove(&name);
    }
    let items = "/components/schemas/EventBatch/properties/events/items";
    set(document, items, json!({ "$ref": "#/components/schemas/BatchFact" }));
    let items = "/components/schemas/ReadingBatch/properties/readings/items";
    set(document, items, json!({ "$ref": "#/components/schemas/NewAmbientReading" }));
    let body = "/paths/~1v1~1projects~1{project}~1joints~1{joint}~1events/post/requestBody/content\
                /application~1json/schema";
    set(document, body, json!({ "$ref": "#/components/schemas/NewFact" }));
}

/// The kinds with their own fields and `kind`, by the names of their schemas.
fn kinds(document: &Value) -> Vec<(String, Map<String, Value>)> {
    let schemas = &document["components"]["schemas"];
    let variants = schemas["Event"]["oneOf"].as_array().into_iter().flatten();
    variants
        .filter_map(|variant| {
            let parts = variant["allOf"].as_array()?;
            let name = parts.first()?["$ref"].as_str()?.rsplit('/').next()?.to_owned();
            let mut kind = schemas[&name].as_object()?.clone();
            add(&mut kind, "kind", parts.get(1)?["properties"]["kind"].clone(), true);
            Some((name, kind))
        })
        .collect()
}

fn one_of(kinds: &[(String, Map<String, Value>)], what: &str, more: &[&str]) -> Value {
    let whole = kinds.iter().map(|(_, kind)| {
        let mut whole = kind.clone();
        let id = json!({
            "type": "string", "format": "uuid",
            "description": "Made by the client, a UUID of version 7: a repeated send has one effect.",
        });
        add(&mut whole, "id", id, true);
        let at = json!({
            "type": "string", "format": "date-time",
            "description": "When it happened in the field, RFC 3339 with its offset.",
        });
        add(&mut whole, "occurred_at", at, true);
        let corrects = kind["properties"]["kind"]["enum"] == json!(["superseded"]);
        let text = if corrects { json!("string") } else { json!(["string", "null"]) };
        let supersedes = json!({
            "type": text, "format": "uuid",
            "description": "The entry of the same joint that this one takes the place of.",
        });
        add(&mut whole, "supersedes", supersedes, corrects);
        let reason = json!({
            "type": text, "minLength": 3, "maxLength": 2000,
            "description": "Why it takes its place; needed beside `supersedes`.",
        });
        add(&mut whole, "reason", reason, corrects);
        for name in more {
            let text = json!({
                "type": "string", "minLength": 1,
                "description": "Number or id of the joint.",
            });
            add(&mut whole, name, text, true);
        }
        whole.insert("dependentRequired".to_owned(), json!({ "supersedes": ["reason"] }));
        Value::Object(whole)
    });
    json!({ "description": what, "oneOf": whole.collect::<Vec<_>>() })
}

fn add(schema: &mut Map<String, Value>, name: &str, field: Value, required: bool) {
    let properties = schema.entry("properties").or_insert_with(|| json!({}));
    if let Some(properties) = properties.as_object_mut() {
        properties.insert(name.to_owned(), field);
    }
    let names = schema.entry("required").or_insert_with(|| json!([]));
    if let (true, Some(names)) = (required, names.as_array_mut()) {
        names.push(json!(name));
    }
}

fn set(document: &mut Value, pointer: &str, value: Value) {
    if let Some(place) = document.pointer_mut(pointer) {
        *place = value;
    }
}
