//! What is left of a measured overlap when the tape narrows under tension.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

use calculators::ALL;
use serde_json::{Value, json};

fn overlap(request: &Value) -> Value {
    let calculator = ALL.iter().find(|it| it.name == "overlap").unwrap();
    serde_json::from_str(&(calculator.answer)(request).unwrap()).unwrap()
}

fn near(value: &Value, expected: f64) {
    let found = value.as_f64().unwrap();
    assert!((found - expected).abs() < 1e-9, "{found} {expected}");
}

#[test]
fn twelve_percent_of_neck_down_costs_55_percent_its_double_layer() {
    // A tape of 100 mm on a pitch of 45 mm, applied 88 mm wide: 1 − 45/88; lost over 2·55 − 100
    // = 10 % (derived by hand).
    let answer = overlap(&json!({
        "roll_width_mm": 100.0, "pitch_mm": 45.0, "specified_overlap_percent": 55.0,
        "neck_down_percent": 12.0,
    }));
    near(&answer["overlap_percent"], 55.0);
    assert_eq!((&answer["layers_min"], &answer["meets_specified"]), (&json!(2), &json!(true)));
    near(&answer["neck_down_that_loses_the_double_layer_percent"], 10.0);
    let after = &answer["after_neck_down"];
    near(&after["overlap_percent"], 100.0 * (1.0 - 45.0 / 88.0));
    near(&after["layers_mean"], 88.0 / 45.0);
    assert_eq!((&after["layers_min"], &after["meets_specified"]), (&json!(1), &json!(false)));
}

#[test]
fn at_the_limit_two_layers_are_left() {
    let answer = overlap(&json!({
        "roll_width_mm": 100.0, "pitch_mm": 45.0, "neck_down_percent": 10.0,
    }));
    assert_eq!(answer["after_neck_down"]["layers_min"], 2);
    assert_eq!(answer["after_neck_down"]["meets_specified"], Value::Null);
}

#[test]
fn what_was_not_asked_or_is_not_there_is_null() {
    let answer = overlap(&json!({ "roll_width_mm": 100.0, "pitch_mm": 60.0 }));
    assert_eq!(answer["after_neck_down"], Value::Null);
    assert_eq!(answer["neck_down_that_loses_the_double_layer_percent"], Value::Null);
    // Edge to edge there is an overlap of 0 to narrow; a gap has none.
    let of = |pitch: f64| {
        let request =
            json!({ "roll_width_mm": 100.0, "pitch_mm": pitch, "neck_down_percent": 20.0 });
        overlap(&request)["after_neck_down"].clone()
    };
    near(&of(100.0)["overlap_percent"], -25.0);
    assert_eq!(of(104.0), Value::Null);
}
