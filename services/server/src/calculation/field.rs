//! The fields of a request that fit into an option.

use serde_json::Value;

/// A field that holds one value.
#[derive(Debug, PartialEq, Eq)]
pub struct Field {
    /// Where it stands: `["limits", "steel_min_c"]`.
    pub path: Vec<String>,
    /// What it is, in one sentence.
    pub help: String,
    /// Whether the request cannot do without it.
    pub required: bool,
    /// The values it may have, where they are few.
    pub values: Vec<String>,
    /// Whether it is text, so that `5` is the text "5".
    pub text: bool,
}

impl Field {
    /// The name of its option: `limits-steel-min-c`.
    pub fn option(&self) -> String {
        self.path.join("-").replace('_', "-")
    }

    /// The pointer to it: `/limits/steel_min_c`.
    pub fn pointer(&self) -> String {
        self.path.iter().flat_map(|segment| ["/", segment.as_str()]).collect()
    }
}

/// What a request is for, and its fields: the required ones first, then by name. Lists have no
/// option; they come from a file.
pub fn fields(document: &Value) -> (String, Vec<Field>) {
    let request = resolve(document, document);
    let about = request["description"].as_str().unwrap_or_default().to_owned();
    let mut found = Vec::new();
    collect(document, request, &[], true, &mut found);
    found.sort_by_key(|field| !field.required);
    (about, found)
}

fn collect(
    document: &Value,
    object: &Value,
    above: &[String],
    required: bool,
    found: &mut Vec<Field>,
) {
    let needed = object["required"].as_array();
    let needs = |name: &str| needed.is_some_and(|it| it.iter().any(|it| it == name));
    for (name, outer) in object["properties"].as_object().into_iter().flatten() {
        let schema = resolve(document, outer);
        let path = [above, std::slice::from_ref(name)].concat();
        let required = required && needs(name);
        if is(schema, "object") {
            collect(document, schema, &path, required, found);
        } else if !is(schema, "array") {
            let description = outer.get("description").or_else(|| schema.get("description"));
            let help = description.and_then(Value::as_str).unwrap_or_default().to_owned();
            let values = schema["enum"].as_array().into_iter().flatten();
            let values = values.filter_map(|it| it.as_str().map(str::to_owned)).collect();
            found.push(Field { path, help, required, values, text: is(schema, "string") });
        }
    }
}

/// What `schema` refers to.
fn resolve<'a>(document: &'a Value, schema: &'a Value) -> &'a Value {
    let named = schema["$ref"].as_str().and_then(|it| it.strip_prefix('#'));
    named.and_then(|pointer| document.pointer(pointer)).unwrap_or(schema)
}

fn is(schema: &Value, kind: &str) -> bool {
    match &schema["type"] {
        Value::String(only) => only == kind,
        Value::Array(kinds) => kinds.iter().any(|it| it == kind),
        _ => false,
    }
}
