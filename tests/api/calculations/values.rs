//! The numbers, held against what others have published or computed.

use harness::{TestApp, fact::minute};
use serde_json::{Value, json};

use super::{answer, asks, close, example, pointers, simulated, wrap};

#[actix_web::test]
async fn the_dew_point_agrees_with_psychrolib() {
    let app = TestApp::new().await;
    // Computed with psychrolib 2.5.0 (SI, ASHRAE formulation).
    let known = [
        (20.0, 85.0, 17.40),
        (10.0, 80.0, 6.71),
        (25.0, 60.0, 16.70),
        (30.0, 70.0, 23.93),
        (35.0, 50.0, 23.02),
        (40.0, 60.0, 30.74),
    ];
    for (air, humidity, expected) in known {
        let request = json!({ "air_c": air, "relative_humidity_percent": humidity });
        let found = answer(&app, "dew-point", request).await;
        close(&found, "dew_point_c", expected, 0.15);
        assert!(found["formula"].is_string() && found["source"].is_string());
    }
}

#[actix_web::test]
async fn steel_within_3_kelvin_of_the_dew_point_is_not_acceptable() {
    let app = TestApp::new().await;
    // 3 °C above the dew point: NACE RP0176-2003, 14.3.1 (second-hand, a page image); the dew
    // point of 17.40 °C: psychrolib 2.5.0.
    let request = |steel: f64| {
        json!({
            "air_c": 20.0, "relative_humidity_percent": 85.0, "steel_c": steel,
            "limits": { "dew_point_margin_c": 3.0, "relative_humidity_max_percent": 85.0 },
        })
    };
    let cold = answer(&app, "conditions", request(20.3)).await;
    assert_eq!(cold["acceptable"], false);
    assert_eq!(cold["broken"][0]["limit"], "dew_point_margin_c");
    assert_eq!(cold["broken"][0]["bound"], 3.0);
    let warm = answer(&app, "conditions", request(20.5)).await;
    assert_eq!((&warm["acceptable"], &warm["broken"]), (&json!(true), &json!([])));
    close(&warm, "margin_c", 3.10, 0.03);
}

#[actix_web::test]
async fn the_voltage_is_the_one_that_the_mill_prints_and_comes_with_cautions() {
    let app = TestApp::new().await;
    // "at least 5 kV plus 5 kV per mm up to a maximum of 20 kV": a line-pipe mill's laying
    // instructions (published).
    for (thickness, expected) in [(1.0, 10.0), (2.0, 15.0), (3.0, 20.0), (4.0, 20.0)] {
        let request =
            json!({ "coating_thickness_mm": thickness, "method": "five_plus_five_per_mm" });
        let found = answer(&app, "holiday-voltage", request).await;
        close(&found, "voltage_kv", expected, 1e-12);
        assert_eq!(found["method"], "five_plus_five_per_mm");
        let cautions = found["cautions"].as_array().unwrap();
        let said = |what: &str| cautions.iter().any(|it| it.as_str().unwrap().contains(what));
        assert!(said("pacemaker") && said("flammable") && said("local codes"), "{cautions:?}");
    }
    // The cap of the contract comes before the method's own.
    let request = json!({
        "coating_thickness_mm": 4.0, "method": "five_plus_five_per_mm", "cap_kv": 25.0,
    });
    close(&answer(&app, "holiday-voltage", request).await, "voltage_kv", 25.0, 1e-12);
    // 1250 · √100 mil = 12 500 V: formula second-hand, arithmetic by hand.
    let request = json!({ "coating_thickness_mm": 2.54, "method": "nace_sp0274" });
    close(&answer(&app, "holiday-voltage", request).await, "voltage_kv", 12.5, 1e-9);
}

#[actix_web::test]
async fn tape_of_known_joints() {
    let app = TestApp::new().await;
    // 2 π D + (L − w)/p · √((π D)² + p²), thickness 0: derived by hand.
    let known = [
        (wrap(114.3, 400.0, 50.0, 55.0), 6.314_874),
        (wrap(60.3, 400.0, 50.0, 55.0), 3.346_402),
        (wrap(610.0, 500.0, 150.0, 55.0), 13.775_646),
        (wrap(914.0, 500.0, 200.0, 10.0), 10.537_918),
        (wrap(114.3, 400.0, 100.0, 50.0), 2.893_459),
    ];
    for (request, expected) in known {
        close(&answer(&app, "wrap-takeoff", request).await, "tape_m", expected, 1e-6);
    }
    let found = answer(&app, "wrap-takeoff", wrap(610.0, 500.0, 150.0, 55.0)).await;
    // One roll of 15 m a joint; the rest is shorter than a turn (derived by hand).
    assert_eq!(found["joints_per_roll"], 1);
    assert_eq!(found["rolls_per_joint_whole"], 1);
    close(&found, "remnant_m", 15.0 - 13.775_646, 1e-6);
}

#[actix_web::test]
async fn overlap_of_55_percent_is_two_layers_and_takes_one_over_one_minus_it() {
    let app = TestApp::new().await;
    // "equivalent to two layers": a gas company's tender (second-hand); 1/(1 − 0.55) = 2.2222 by
    // hand, never 1.55, which is seen in print.
    let long = answer(&app, "wrap-takeoff", wrap(610.0, 1_000_000.0, 150.0, 55.0)).await;
    assert_eq!(long["layers_min"], 2);
    close(&long, "layers_mean", 2.222_222, 1e-6);
    close(&long, "share_one_more_percent", 22.222_22, 1e-5);
    close(&long, "area_ratio", 2.2222, 0.005);
    // "half-lapped" (published guide specification): exactly two, no third.
    let half = answer(&app, "wrap-takeoff", wrap(610.0, 500.0, 150.0, 50.0)).await;
    assert_eq!((&half["layers_min"], &half["share_one_more_percent"]), (&json!(2), &json!(0.0)));
}

#[actix_web::test]
async fn a_measured_gap_is_an_answer() {
    let app = TestApp::new().await;
    let request = |pitch: f64| json!({ "roll_width_mm": 100.0, "pitch_mm": pitch, "specified_overlap_percent": 55.0 });
    // 100 (1 − pitch / width): by hand.
    let good = answer(&app, "overlap", request(45.0)).await;
    close(&good, "overlap_percent", 55.0, 1e-9);
    assert_eq!((&good["layers_min"], &good["meets_specified"]), (&json!(2), &json!(true)));
    let gap = answer(&app, "overlap", request(120.0)).await;
    close(&gap, "overlap_percent", -20.0, 1e-9);
    assert_eq!((&gap["layers_min"], &gap["meets_specified"]), (&json!(0), &json!(false)));
    let open = answer(&app, "overlap", json!({ "roll_width_mm": 100.0, "pitch_mm": 45.0 })).await;
    assert_eq!(open["meets_specified"], Value::Null);
}

#[actix_web::test]
async fn reorder_points_of_the_textbooks() {
    let app = TestApp::new().await;
    // Sand: mean 50 t and 5 t spread over the lead time, risk 3 %, printed 59.40 with z = 1.88:
    // Stevenson, Operations Management, 14th edition, p. 528 (published).
    let sand = json!({
        "demand_per_day": 50.0, "demand_sd_per_day": 5.0, "lead_time_days": 1.0,
        "service_level_percent": 97.0,
    });
    let sand = answer(&app, "reorder-point", sand).await;
    close(&sand, "reorder_point", 59.40, 0.01);
    // The quantile: SciPy 1.17.1, norm.ppf(0.97).
    close(&sand, "z", 1.880_793_608, 1e-8);
    // 12 500 a day, 4 days ± 1, 97 %: 73 500 with z = 1.88 (second-hand).
    let late = json!({
        "demand_per_day": 12_500.0, "demand_sd_per_day": 0.0, "lead_time_days": 4.0,
        "lead_time_sd_days": 1.0, "service_level_percent": 97.0,
    });
    close(&answer(&app, "reorder-point", late).await, "reorder_point", 73_500.0, 15.0);
}

#[actix_web::test]
async fn stock_is_used_first_expired_first_out_to_the_day_it_runs_out() {
    let app = TestApp::new().await;
    // By hand: day 1 uses 4 of B (it expires first); on day 2 the last unit of B and 3 of A; A's
    // other 7 would last, but 5 come on day 3 and expire the same day with 1 left unused of them.
    let request = json!({
        "start_on": "2026-03-02", "days": 6,
        "lots": [
            { "lot": "A", "quantity": 10.0, "expires_on": null },
            { "lot": "B", "quantity": 5.0, "expires_on": "2026-03-03" },
        ],
        "deliveries": [{ "on": "2026-03-04", "quantity": 5.0, "expires_on": "2026-03-04" }],
        "demand": [4.0, 4.0, 4.0, 4.0, 4.0, 0.0], "lead_time_days": 10, "safety_days": 2,
    });
    let found = answer(&app, "run-out", request).await;
    assert_eq!(found["on_hand"], json!([11.0, 7.0, 7.0, 3.0, 0.0, 0.0]));
    assert_eq!(found["run_out_on"], "2026-03-06");
    assert_eq!(found["days_of_cover"], 4);
    assert_eq!(found["shortage"], 1.0);
    assert_eq!(found["order_by"], "2026-02-22");
    let unused = json!([{ "delivery": 0, "expires_on": "2026-03-04", "quantity": 1.0 }]);
    assert_eq!(found["expiring_unused"], unused);
    assert_eq!(found["simulation"], Value::Null);
}

#[actix_web::test]
async fn the_chance_of_running_out_follows_the_site_s_own_days() {
    let app = TestApp::new().await;
    // Every recorded day took 10: chance has nothing to choose from. 150 last 15 days (by hand).
    let found = answer(&app, "run-out", simulated(200, 30, 1)).await;
    let chance = &found["simulation"];
    for day in ["p10", "p50", "p90"] {
        assert_eq!(chance[day], "2026-03-17", "{chance:#}");
    }
    assert_eq!(chance["run_out_chance"], 1.0);
    assert_eq!(chance["next_delivery_on"], "2026-03-10");
    assert_eq!(chance["dry_before_next_delivery_chance"], 0.0);

    let mut any = simulated(500, 30, 7);
    any["simulation"]["production"] = json!([0, 3, 9, 12]);
    let (one, other) = (answer(&app, "run-out", any.clone()), answer(&app, "run-out", any));
    let (one, other) = (one.await, other.await);
    assert_eq!(one, other, "the same seed gives the same answer");
    let day = |name: &str| one["simulation"][name].as_str().unwrap().to_owned();
    assert!(day("p10") <= day("p50") && day("p50") <= day("p90"), "{one:#}");
}

#[actix_web::test]
async fn a_year_of_hours_is_answered() {
    let app = TestApp::new().await;
    let hour = |hour: i32| {
        json!({
            "at": minute(60 * i64::from(hour)),
            "air_c": 10.123_456_789_012_3 + f64::from(hour % 24),
            "relative_humidity_percent": 50.123_456_789_012_3,
            "rain_mm": 0.123_456_789_012,
        })
    };
    let hours: Vec<_> = (0..8760).map(hour).collect();
    let found = answer(&app, "workable-hours", json!({ "hours": hours, "steel_lag_h": 1 })).await;
    assert_eq!(found["workable_count"], 8760);
    assert_eq!(found["windows"][0]["hours"], 8760);
}

#[actix_web::test]
async fn steel_follows_the_air_exactly() {
    let app = TestApp::new().await;
    let hour = |at: &str, air: f64| json!({ "at": at, "air_c": air, "relative_humidity_percent": 50.0, "rain_mm": 0.0 });
    let hours = json!([
        hour("2026-03-02T06:00:00+01:00", 10.0),
        hour("2026-03-02T07:00:00+01:00", 20.0),
        hour("2026-03-02T08:00:00+01:00", 20.0),
    ]);
    let lagging = json!({ "hours": hours, "steel_lag_h": 2.0, "limits": { "steel_min_c": 12.0 } });
    let found = answer(&app, "workable-hours", lagging).await;
    // dT/dt = (10 + 10 t − T)/2 from 10 °C: T(1) = 20 − 20 (1 − e^(−1/2)) = 12.130613; then
    // 20 − (20 − 12.130613) e^(−1/2) = 15.226976: solved by hand.
    close(&found["hours"][1], "steel_c", 12.130_613, 1e-6);
    close(&found["hours"][2], "steel_c", 15.226_976, 1e-6);
    assert_eq!(found["workable_count"], 2);
    let window = json!([{
        "from": "2026-03-02T07:00:00+01:00", "to": "2026-03-02T09:00:00+01:00", "hours": 2,
    }]);
    assert_eq!(found["windows"], window);
    let following = answer(&app, "workable-hours", json!({ "hours": hours })).await;
    assert_eq!(following["hours"][1]["steel_c"], 20.0);
    assert_eq!(following["workable_count"], 3);

    for place in ["limits", ""] {
        let mut wet = json!({ "hours": [hour("2026-03-02T06:00:00Z", 10.0)], "limits": {} });
        wet["hours"][0]["rain_mm"] = json!(0.6);
        let at = if place.is_empty() { &mut wet } else { &mut wet[place] };
        at["rain_max_mm"] = json!(0.5);
        let found = answer(&app, "workable-hours", wet).await;
        assert_eq!(found["hours"][0]["broken"][0]["limit"], "rain_max_mm");
    }
}

#[actix_web::test]
async fn shares_and_their_limits() {
    let app = TestApp::new().await;
    let request = json!({ "subgroups": [
        { "inspected": 50, "nonconforming": 2 },
        { "inspected": 40, "nonconforming": 9 },
        { "inspected": 60, "nonconforming": 3 },
    ] });
    let found = answer(&app, "control-limits", request).await;
    // p̄ = 14/150; p̄ ± 3 √(p̄ (1 − p̄)/n): derived by hand.
    close(&found, "p_bar", 14.0 / 150.0, 1e-12);
    let signals: Vec<_> =
        found["points"].as_array().unwrap().iter().map(|it| &it["signal"]).collect();
    assert_eq!(signals, [false, false, false]);
    close(&found["points"][0], "upper", 0.216_751, 1e-6);
    assert_eq!(found["points"][0]["lower"], 0.0);

    // SciPy 1.17.1, binomtest(81, 263).proportion_ci(0.95, method="wilson").
    let request = json!({ "inspected": 263, "nonconforming": 81, "confidence_percent": 95.0 });
    let found = answer(&app, "proportion-interval", request).await;
    close(&found, "low", 0.255_289, 1e-6);
    close(&found, "high", 0.366_210, 1e-6);
    let request = json!({ "inspected": 5, "nonconforming": 6, "confidence_percent": 95.0 });
    let problem = asks(&app, "proportion-interval", request).await.problem(422, "INVALID");
    assert_eq!(pointers(&problem), ["#/nonconforming"]);
}

#[actix_web::test]
async fn every_line_of_the_cost_is_in_sight() {
    let app = TestApp::new().await;
    let found = answer(&app, "applied-cost", example("applied-cost")).await;
    // Padding of NPS 24 in a trench of 1016 mm, 150 mm under and over: 0.6326 m³/m, by hand.
    close(&found["burial"], "padding_in_place_m3_per_m", 0.6326, 5e-5);
    let judged = ["admissible", "unverified"].map(|it| found[it].as_array().unwrap().clone());
    let [system] = judged.concat().try_into().unwrap();
    let lines = system["cost"]["joint_lines"].as_array().unwrap();
    let sum: f64 = lines.iter().map(|it| it["amount"].as_f64().unwrap()).sum();
    close(&system["cost"], "per_joint", sum, 1e-9);
    for line in lines {
        let number = |field: &str| line[field].as_f64().unwrap();
        let amount = number("quantity") * number("unit_price");
        assert!((number("amount") - amount).abs() < 1e-9, "{line}");
    }
    // 0.5 h of three workers at 25 each: 37.50, by hand.
    let wrapping = lines.iter().find(|it| it["item"] == "wrapping").unwrap();
    close(wrapping, "amount", 37.5, 1e-9);
}
