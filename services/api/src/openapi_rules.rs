//! Rules that the types of the parameters do not tell.

use serde_json::{Map, Value, json};

/// Tells them in the whole `document`.
pub fn describe(document: &mut Value) {
    let paths = document.pointer_mut("/paths").and_then(Value::as_object_mut);
    let operations = paths.into_iter().flat_map(Map::values_mut).filter_map(Value::as_object_mut);
    for operation in operations.flat_map(Map::values_mut) {
        let parameters = operation.pointer_mut("/parameters").and_then(Value::as_array_mut);
        parameters.into_iter().flatten().for_each(tell);
    }
}

fn tell(parameter: &mut Value) {
    let is_tag = parameter["name"] == "If-Match";
    let Some(schema) = parameter.pointer_mut("/schema").and_then(Value::as_object_mut) else {
        return;
    };
    if is_tag {
        // As `reply::etag` writes them.
        schema.insert("pattern".to_owned(), json!("^\"v[0-9]{1,18}\"$"));
    }
    // A parameter is left out; it cannot be null.
    if let Some(kinds) = schema.get_mut("type").and_then(Value::as_array_mut) {
        kinds.retain(|it| it != "null");
        if let [kind] = kinds.as_slice() {
            let kind = kind.clone();
            schema.insert("type".to_owned(), kind);
        }
    }
    // A `u32` is described as an `int32` that is not negative, and can be twice as large as one.
    let unsigned =
        schema.get("format") == Some(&json!("int32")) && schema.get("minimum") == Some(&json!(0));
    if unsigned && !schema.contains_key("maximum") {
        schema.insert("format".to_owned(), json!("int64"));
        schema.insert("maximum".to_owned(), json!(u32::MAX));
    }
}
