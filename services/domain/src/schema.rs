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

/// Most faults named in one answer: a long list of wrong numbers must not come back tenfold.
const MOST_FAULTS: usize = 1000;

/// Reads `value` as a `T`, or names every fault.
pub fn read<T: ToSchema + DeserializeOwned + Validate + 'static>(
    value: &Value,
) -> Result<T, Vec<FieldError>> {
    let unkeepable = unkeepable(value);
    if !unkeepable.is_empty() {
        return Err(unkeepable);
    }
    let compiled = compiled::<T>();
    let errors = compiled.validator.iter_errors(value);
    let mut faults: Vec<FieldError> =
        errors.flat_map(|it| describe(&it, &compiled.document)).take(MOST_FAULTS + 1).collect();
    if faults.len() > MOST_FAULTS {
        faults.truncate(MOST_FAULTS);
        let detail = format!("more faults than the {MOST_FAULTS} that are named");
        faults.push(FieldError::new("", "MORE_FAULTS", detail));
    }
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

/// Texts that the database cannot keep: those with the character U+0000.
pub fn unkeepable(value: &Value) -> Vec<FieldError> {
    let mut faults = Vec::new();
    look_for_null(value, &mut String::new(), &mut faults);
    faults
}

fn look_for_null(value: &Value, at: &mut String, faults: &mut Vec<FieldError>) {
    let mut note = |text: &str, at: &str| {
        if text.contains('\0') {
            let detail = "the character U+0000 cannot be kept: leave it out";
            faults.push(FieldError::new(&at.replace('\0', "\u{fffd}"), "WRONG_CHARACTER", detail));
        }
    };
    match value {
        Value::String(text) => note(text, at),
        Value::Array(items) => {
            for (index, item) in items.iter().enumerate() {
                under(&index.to_string(), item, at, faults);
            }
        }
        Value::Object(fields) => {
            for name in fields.keys() {
                note(name, &format!("{at}/{name}"));
            }
            for (name, field) in fields {
                under(name, field, at, faults);
            }
        }
        _ => {}
    }
}

fn under(segment: &str, value: &Value, at: &mut String, faults: &mut Vec<FieldError>) {
    let length = at.len();
    at.push('/');
    at.push_str(segment);
    look_for_null(value, at, faults);
    at.truncate(length);
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

struct Compiled {
    validator: jsonschema::Validator,
    document: Value,
}

/// Compiling a schema costs far more than using it, so each is compiled once.
fn compiled<T: ToSchema + 'static>() -> Arc<Compiled> {
    type Known = Vec<(&'static str, Arc<Compiled>)>;
    static KNOWN: OnceLock<Mutex<Known>> = OnceLock::new();
    let name = std::any::type_name::<T>();
    let mut known = match KNOWN.get_or_init(Mutex::default).lock() {
        Ok(guard) => guard,
        Err(poisoned) => poisoned.into_inner(),
    };
    if let Some((_, found)) = known.iter().find(|(known, _)| *known == name) {
        return Arc::clone(found);
    }
    let document = document::<T>();
    let built = jsonschema::options()
        .should_validate_formats(true)
        .build(&document)
        // A schema that does not compile is a bug of ours; it refuses everything and says so.
        .or_else(|_| jsonschema::options().build(&Value::Bool(false)));
    let Ok(validator) = built else { unreachable!("the schema `false` always compiles") };
    let built = Arc::new(Compiled { validator, document });
    known.push((name, Arc::clone(&built)));
    built
}

fn describe(error: &jsonschema::ValidationError<'_>, document: &Value) -> Vec<FieldError> {
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
            let range = allowed(error, document);
            let detail = match range {
                Some(range) => format!("{} is out of range: it must be {range}", error.instance()),
                None => error.to_string(),
            };
            vec![FieldError::new(&at, "OUT_OF_RANGE", detail)]
        }
        Kind::Type { .. } => {
            // A whole list or object is not said back, nor is a secret.
            let told = match error.instance().as_ref() {
                _ if beside(error, document, "format").is_some_and(|it| it == "password") => {
                    error.masked().to_string()
                }
                Value::Array(_) | Value::Object(_) => error.masked().to_string(),
                _ => error.to_string(),
            };
            vec![FieldError::new(&at, "WRONG_TYPE", told)]
        }
        Kind::MinItems { limit } => {
            vec![FieldError::new(&at, "TOO_FEW", format!("must have at least {limit} entries"))]
        }
        Kind::MaxItems { limit } => {
            vec![FieldError::new(&at, "TOO_MANY", format!("must have at most {limit} entries"))]
        }
        Kind::Format { .. } => vec![FieldError::new(&at, "WRONG_FORMAT", error.to_string())],
        Kind::Enum { .. } => vec![FieldError::new(&at, "UNKNOWN_VALUE", error.to_string())],
        // Said without the text: it can be long, and it can be a password.
        Kind::MinLength { limit } => {
            let detail = format!("must have at least {limit} characters");
            vec![FieldError::new(&at, "WRONG_LENGTH", detail)]
        }
        Kind::MaxLength { limit } => {
            let detail = format!("must have at most {limit} characters");
            vec![FieldError::new(&at, "WRONG_LENGTH", detail)]
        }
        _ => vec![FieldError::new(&at, "INVALID", error.to_string())],
    }
}

/// What the schema at fault says of `keyword`.
fn beside<'a>(
    error: &jsonschema::ValidationError<'_>,
    document: &'a Value,
    keyword: &str,
) -> Option<&'a Value> {
    schema_at_fault(error, document)?.get(keyword)
}

fn schema_at_fault<'a>(
    error: &jsonschema::ValidationError<'_>,
    document: &'a Value,
) -> Option<&'a Value> {
    let keyword = error.schema_path().as_str();
    document.pointer(&keyword[..keyword.rfind('/')?])
}

/// The range that the schema at fault allows, in words: `over 0 and at most 100`.
fn allowed(error: &jsonschema::ValidationError<'_>, document: &Value) -> Option<String> {
    let schema = schema_at_fault(error, document)?;
    let bounds = [
        ("minimum", "at least"),
        ("exclusiveMinimum", "over"),
        ("maximum", "at most"),
        ("exclusiveMaximum", "under"),
    ];
    let told = bounds.iter().filter_map(|(keyword, words)| {
        schema.get(keyword).filter(|it| it.is_number()).map(|bound| format!("{words} {bound}"))
    });
    let told: Vec<String> = told.collect();
    (!told.is_empty()).then(|| told.join(" and "))
}
