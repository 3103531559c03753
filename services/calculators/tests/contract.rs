//! What every client can rely on, whichever calculator it asks.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

use calculators::{ALL, Calculator};
use domain::schema::FieldError;
use proptest::{prelude::*, sample::Index};
use serde_json::{Value, json};

/// The schema that a document is about.
fn root(document: &Value) -> &Value {
    resolve(document, document)
}

fn resolve<'a>(document: &'a Value, schema: &'a Value) -> &'a Value {
    let named = schema["$ref"].as_str().and_then(|it| it.strip_prefix('#'));
    named.and_then(|pointer| document.pointer(pointer)).unwrap_or(schema)
}

/// The example that the published description gives of a request.
fn example(calculator: &Calculator) -> Value {
    let document = (calculator.request)();
    root(&document).get("example").cloned().unwrap_or_else(|| json!({}))
}

fn answered(calculator: &Calculator, request: &Value) -> Result<Value, Vec<FieldError>> {
    (calculator.answer)(request).map(|text| serde_json::from_str(&text).unwrap())
}

/// An answer is as its schema says, and nothing in it is null where a number is due; or there is
/// a fault, and each fault says where, what and what would be right.
fn check(calculator: &Calculator, request: &Value) {
    match answered(calculator, request) {
        Ok(answer) => {
            let schema = (calculator.answer_schema)();
            let validator = jsonschema::validator_for(&schema).unwrap();
            let faults: Vec<_> = validator.iter_errors(&answer).map(|it| it.to_string()).collect();
            assert!(faults.is_empty(), "{} {request}: {faults:?}", calculator.name);
        }
        Err(faults) => {
            assert!(!faults.is_empty(), "{} {request}", calculator.name);
            for fault in &faults {
                assert!(fault.pointer.starts_with('#'), "{fault:?}");
                let shouted = fault.code.chars().all(|it| it.is_ascii_uppercase() || it == '_');
                assert!(shouted && !fault.code.is_empty(), "{fault:?}");
                assert!(!fault.detail.is_empty(), "{fault:?}");
                let known = !fault.detail.contains("inf") && !fault.detail.contains("NaN");
                assert!(known, "{fault:?}");
            }
        }
    }
}

#[test]
fn every_published_example_is_answered() {
    for calculator in &ALL {
        let request = example(calculator);
        let answer = answered(calculator, &request);
        assert!(answer.is_ok(), "{}: {answer:?}", calculator.name);
        check(calculator, &request);
    }
}

/// Every number of `schema` that has bounds, by its pointer in a request that has such a field.
fn bounded(document: &Value, schema: &Value, at: &str, found: &mut Vec<(String, Value)>) {
    let schema = resolve(document, schema);
    let bounds = ["minimum", "exclusiveMinimum", "maximum", "exclusiveMaximum"];
    if bounds.iter().any(|it| schema.get(it).is_some()) {
        found.push((at.to_owned(), schema.clone()));
    }
    for (name, inner) in schema["properties"].as_object().into_iter().flatten() {
        bounded(document, inner, &format!("{at}/{name}"), found);
    }
    if schema.get("items").is_some() {
        bounded(document, &schema["items"], &format!("{at}/0"), found);
    }
}

/// Puts `value` at `pointer`, making what is not there.
fn put(request: &mut Value, pointer: &str, value: Value) {
    let mut at = request;
    for segment in pointer.split('/').skip(1) {
        if let Ok(index) = segment.parse::<usize>() {
            if !at.is_array() {
                *at = json!([]);
            }
            let list = at.as_array_mut().unwrap();
            while list.len() <= index {
                list.push(Value::Null);
            }
            at = &mut list[index];
        } else {
            if !at.is_object() {
                *at = json!({});
            }
            let object = at.as_object_mut().unwrap();
            at = object.entry(segment.to_owned()).or_insert(Value::Null);
        }
    }
    *at = value;
}

#[test]
fn a_number_out_of_its_range_is_named_with_the_range() {
    let mut count = 0;
    for calculator in &ALL {
        let document = (calculator.request)();
        let mut fields = Vec::new();
        bounded(&document, root(&document), "", &mut fields);
        for (pointer, schema) in fields {
            let number = |keyword: &str| schema.get(keyword).and_then(Value::as_f64);
            let outside = [
                number("minimum").map(|it| it - 1.0),
                number("exclusiveMinimum"),
                number("maximum").map(|it| it + 1.0),
                number("exclusiveMaximum"),
            ];
            for value in outside.into_iter().flatten() {
                let mut request = example(calculator);
                put(&mut request, &pointer, json!(value));
                let faults = answered(calculator, &request).unwrap_err();
                let wanted = format!("#{pointer}");
                let fault = faults.iter().find(|it| it.pointer == wanted);
                let fault = fault.unwrap_or_else(|| panic!("{wanted} is not in {faults:?}"));
                let ends = ["minimum", "exclusiveMinimum", "maximum", "exclusiveMaximum"];
                for end in ends.iter().filter_map(|it| schema.get(it)) {
                    assert!(fault.detail.contains(&end.to_string()), "{fault:?} lacks {end}");
                }
                assert_eq!(fault.code, "OUT_OF_RANGE", "{fault:?}");
                count += 1;
            }
        }
    }
    assert!(count > 150, "only {count} ends of ranges were tried");
}

#[test]
fn every_number_has_two_ends() {
    fn walk(document: &Value, schema: &Value, at: &str) {
        let schema = resolve(document, schema);
        let kinds = schema["type"].to_string();
        if kinds.contains("number") || kinds.contains("integer") {
            let has =
                |one: &str, other: &str| [one, other].iter().any(|it| schema.get(it).is_some());
            assert!(has("minimum", "exclusiveMinimum"), "{at} has no lower end");
            assert!(has("maximum", "exclusiveMaximum"), "{at} has no upper end");
        }
        if kinds.contains("array") {
            assert!(schema.get("maxItems").is_some(), "{at} has no greatest length");
            walk(document, &schema["items"], &format!("{at}/0"));
        }
        for (name, inner) in schema["properties"].as_object().into_iter().flatten() {
            walk(document, inner, &format!("{at}/{name}"));
        }
    }
    for calculator in &ALL {
        let document = (calculator.request)();
        walk(&document, root(&document), calculator.name);
    }
}

#[test]
fn unknown_and_missing_fields_are_named_together() {
    for calculator in ALL.iter().filter(|it| it.name != "pipe-sizes") {
        let document = (calculator.request)();
        let required = root(&document)["required"].as_array().cloned().unwrap_or_default();
        let faults = answered(calculator, &json!({ "colour": "blue" })).unwrap_err();
        let named = |pointer: String, code: &str| {
            faults.iter().any(|it| it.pointer == pointer && it.code == code)
        };
        assert!(named("#/colour".to_owned(), "UNKNOWN_FIELD"), "{faults:?}");
        for field in &required {
            let pointer = format!("#/{}", field.as_str().unwrap());
            assert!(named(pointer, "REQUIRED"), "{field}: {faults:?}");
        }
        assert_eq!(faults.len(), required.len() + 1, "{faults:?}");
    }
}

#[test]
fn a_long_list_of_wrong_values_comes_back_shortened() {
    let wrong = json!({ "inspected": -1, "nonconforming": -1 });
    let request = json!({ "subgroups": vec![wrong; 10_000] });
    let control_limits = ALL.iter().find(|it| it.name == "control-limits").unwrap();
    let faults = answered(control_limits, &request).unwrap_err();
    assert_eq!(faults.len(), 1001);
    assert_eq!(faults.last().unwrap().code, "MORE_FAULTS");
}

#[test]
fn whole_numbers_may_be_written_with_a_point() {
    let interval = ALL.iter().find(|it| it.name == "proportion-interval").unwrap();
    let of = |inspected: Value| {
        let request =
            json!({ "inspected": inspected, "nonconforming": 2, "confidence_percent": 95 });
        answered(interval, &request)
    };
    assert_eq!(of(json!(50)).unwrap(), of(json!(50.0)).unwrap());
    assert_eq!(of(json!(50.5)).unwrap_err()[0].pointer, "#/inspected");
}

/// Numbers that have broken programs before.
fn number() -> impl Strategy<Value = Value> {
    let special = prop::sample::select(vec![
        0.0,
        -0.0,
        -1.0,
        1.0,
        0.5,
        2.5,
        49.999_999,
        50.0,
        99.999_999_999,
        100.0,
        1e-308,
        5e-324,
        1e15,
        1e18,
        1e300,
        1.797_693_134_862_315_7e308,
        -1e308,
    ]);
    prop_oneof![
        special.prop_map(|it| json!(it)),
        (-1e4..1e4f64).prop_map(|it| json!(it)),
        any::<i64>().prop_map(|it| json!(it)),
        any::<u64>().prop_map(|it| json!(it)),
        any::<f64>().prop_map(|it| json!(it)),
    ]
}

fn anything() -> impl Strategy<Value = Value> {
    let leaf = prop_oneof![
        4 => number(),
        1 => Just(Value::Null),
        1 => any::<bool>().prop_map(Value::Bool),
        1 => "\\PC{0,12}".prop_map(Value::String),
        1 => Just(json!("2026-02-30")),
        1 => Just(json!("2026-03-01T00:00:00+14:00")),
    ];
    leaf.prop_recursive(3, 24, 5, |inner| {
        let name = prop::sample::select(vec![
            "air_c",
            "lots",
            "quantity",
            "hours",
            "limits",
            "layers",
            "subgroups",
            "x",
        ]);
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..5).prop_map(Value::Array),
            prop::collection::vec((name, inner), 0..5).prop_map(|fields| {
                Value::Object(fields.into_iter().map(|(name, it)| (name.to_owned(), it)).collect())
            }),
        ]
    })
}

/// A value within the range of `schema`: one of its ends, or anything between, small ones too.
fn inside(schema: &Value, place: f64, small: bool) -> Value {
    let number = |keyword: &str| schema.get(keyword).and_then(Value::as_f64);
    let low = number("minimum").or_else(|| number("exclusiveMinimum").map(f64::next_up)).unwrap();
    let high =
        number("maximum").or_else(|| number("exclusiveMaximum").map(f64::next_down)).unwrap();
    let share = if small { 10f64.powf(-20.0 * (1.0 - place)) } else { place };
    let value = if place == 0.0 { low } else { (low + (high - low) * share).clamp(low, high) };
    if schema["type"].to_string().contains("integer") { json!(value.ceil()) } else { json!(value) }
}

/// Every pointer into `value`.
fn pointers(value: &Value, at: &str, found: &mut Vec<String>) {
    found.push(at.to_owned());
    match value {
        Value::Object(fields) => {
            fields.iter().for_each(|(name, it)| pointers(it, &format!("{at}/{name}"), found));
        }
        Value::Array(items) => {
            for (index, it) in items.iter().enumerate() {
                pointers(it, &format!("{at}/{index}"), found);
            }
        }
        _ => {}
    }
}

/// The example with some of its values replaced.
fn mutated(calculator: &Calculator, changes: &[(Index, Value)]) -> Value {
    let mut request = example(calculator);
    for (place, value) in changes {
        let mut found = Vec::new();
        pointers(&request, "", &mut found);
        if let Some(at) = request.pointer_mut(place.get(&found).as_str()) {
            *at = value.clone();
        }
    }
    request
}

fn place() -> impl Strategy<Value = f64> {
    prop_oneof![1 => Just(0.0), 1 => Just(1.0), 3 => 0.0..1.0f64]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..Default::default() })]

    #[test]
    fn any_json_is_answered_or_faulted(which in any::<Index>(), request in anything()) {
        check(which.get(&ALL), &request);
    }

    #[test]
    fn a_request_with_some_wrong_values_is_answered_or_faulted(
        which in any::<Index>(),
        changes in prop::collection::vec((any::<Index>(), anything()), 1..4),
    ) {
        let calculator = which.get(&ALL);
        check(calculator, &mutated(calculator, &changes));
    }

    #[test]
    fn any_numbers_within_their_ranges_give_numbers_or_a_fault(
        which in 0..ALL.len() - 1,
        changes in prop::collection::vec((any::<Index>(), place(), any::<bool>()), 1..8),
    ) {
        let calculator = &ALL[which];
        let document = (calculator.request)();
        let mut fields = Vec::new();
        bounded(&document, root(&document), "", &mut fields);
        let mut request = example(calculator);
        for (field, place, small) in changes {
            let (pointer, schema) = field.get(&fields);
            put(&mut request, pointer, inside(schema, place, small));
        }
        check(calculator, &request);
    }

    #[test]
    fn a_request_with_any_numbers_is_answered_or_faulted(
        which in any::<Index>(),
        changes in prop::collection::vec((any::<Index>(), number()), 1..8),
    ) {
        let calculator = which.get(&ALL);
        check(calculator, &mutated(calculator, &changes));
    }
}
