//! Reads JSON into a type and names every fault at once, each with its JSON pointer.
//!
//! The type's published schema does the checking, so what the API description says and what the
//! server refuses cannot drift apart.

use std::sync::{Arc, Mutex, OnceLock};

use serde::{Serialize, de::DeserializeOwned};
use serde_json::{Value, json};
use utoipa::ToSchema;

/// One fault in what was sent.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, utoipa::ToSchema)]
pub struct FieldError {
    /// JSON pointer to the field, such as `#/layers/0/material`.
    pub pointer: String,
    /// Stable code, such as `REQUIRED` or `OUT_OF_RANGE`.
    pub code: String,
    /// What is wrong and what would be right.
    pub detail: String,
}

impl FieldError {
    /// A fault at `pointer` (without the leading `#`).
    pub fn new(pointer: &str, code: &str, detail: impl Into<String>) -> Self {
        Self { pointer: format!("#{pointer}"), code: code.to_owned(), detail: detail.into() }
    }
}

/// Something that can be wrong in ways a schema does not say: ranges between fields, references.
pub trait Validate {
    /// Every fault; empty when there is none.
    fn faults(&self) -> Vec<FieldError> {
        Vec::new()
    }
}

/// Reads `value` as a `T`, or names every fault.
pub fn read<T: ToSchema + DeserializeOwned + Validate + 'static>(
    value: &Value,
) -> Result<T, Vec<FieldError>> {
    let faults: Vec<FieldError> =
        validator::<T>().iter_errors(value).flat_map(|it| describe(&it)).collect();
    if !faults.is_empty() {
        return Err(faults);
    }
    let read: T = serde_path_to_error::deserialize(value).map_err(|error| {
        let path: Vec<String> = error.path().iter().map(ToString::to_string).collect();
        let pointer = path.iter().flat_map(|segment| ["/", segment.as_str()]).collect::<String>();
        vec![FieldError::new(&pointer, "INVALID", error.inner().to_string())]
    })?;
    let faults = read.faults();
    if faults.is_empty() { Ok(read) } else { Err(faults) }
}

/// The schema of `T` as one document whose references resolve inside it.
pub fn document<T: ToSchema>() -> Value {
    let mut schemas = vec![(T::name().into_owned(), T::schema())];
    T::schemas(&mut schemas);
    let definitions: serde_json::Map<String, Value> = schemas
        .into_iter()
        .map(|(name, schema)| (name, serde_json::to_value(schema).unwrap_or(Value::Bool(false))))
        .collect();
    json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$ref": format!("#/components/schemas/{}", T::name()),
        "components": { "schemas": definitions },
    })
}

/// Compiling a schema costs far more than using it, so each is compiled once.
fn validator<T: ToSchema + 'static>() -> Arc<jsonschema::Validator> {
    type Compiled = Vec<(&'static str, Arc<jsonschema::Validator>)>;
    static COMPILED: OnceLock<Mutex<Compiled>> = OnceLock::new();
    let name = std::any::type_name::<T>();
    let mut compiled = match COMPILED.get_or_init(Mutex::default).lock() {
        Ok(guard) => guard,
        Err(poisoned) => poisoned.into_inner(),
    };
    if let Some((_, found)) = compiled.iter().find(|(known, _)| *known == name) {
        return Arc::clone(found);
    }
    let built = jsonschema::options()
        .should_validate_formats(true)
        .build(&document::<T>())
        // A schema that does not compile is a bug of ours; it refuses everything and says so.
        .or_else(|_| jsonschema::options().build(&Value::Bool(false)));
    let Ok(built) = built else { unreachable!("the schema `false` always compiles") };
    let built = Arc::new(built);
    compiled.push((name, Arc::clone(&built)));
    built
}

fn describe(error: &jsonschema::ValidationError<'_>) -> Vec<FieldError> {
    use jsonschema::error::ValidationErrorKind as Kind;
    let at = error.instance_path().to_string();
    match error.kind() {
        Kind::Required { property } => {
            let name = property.as_str().unwrap_or_default();
            vec![FieldError::new(
                &format!("{at}/{name}"),
                "REQUIRED",
                format!("`{name}` is missing"),
            )]
        }
        Kind::AdditionalProperties { unexpected } => unexpected
            .iter()
            .map(|name| {
                let pointer = format!("{at}/{name}");
                FieldError::new(&pointer, "UNKNOWN_FIELD", format!("`{name}` is not a field here"))
            })
            .collect(),
        Kind::Minimum { .. }
        | Kind::Maximum { .. }
        | Kind::ExclusiveMinimum { .. }
        | Kind::ExclusiveMaximum { .. } => {
            vec![FieldError::new(&at, "OUT_OF_RANGE", error.to_string())]
        }
        Kind::Type { .. } => vec![FieldError::new(&at, "WRONG_TYPE", error.to_string())],
        Kind::Format { .. } => vec![FieldError::new(&at, "WRONG_FORMAT", error.to_string())],
        Kind::Enum { .. } => vec![FieldError::new(&at, "UNKNOWN_VALUE", error.to_string())],
        Kind::MinLength { .. } | Kind::MaxLength { .. } => {
            vec![FieldError::new(&at, "WRONG_LENGTH", error.to_string())]
        }
        _ => vec![FieldError::new(&at, "INVALID", error.to_string())],
    }
}
