//! The repair rate: what those who look after the work can rely on.

mod many;
mod warning;

pub use many::fill;

use chrono::NaiveDate;
use domain::quality::{By, CoatFact, Inspected, Span, inspections, repair_rates};
use harness::{
    Fact, Line,
    fact::{
        backfilled, coating, damage_found, failed_test, lowered, passed_test, prepared, repaired,
        wrapped_inner, wrapped_outer,
    },
};
use serde_json::Value;

async fn rates(line: &Line, query: &str) -> Vec<Value> {
    let path = format!("/quality/repair-rates?{query}");
    let found = line.client.gets(&path).await.expect(200);
    found["items"].as_array().unwrap().clone()
}

/// A coating that failed its first test, was repaired and passed.
fn repaired_once() -> Vec<Fact> {
    [coating(), vec![failed_test(60), repaired(70), passed_test(80)]].concat()
}

fn passed_at_once() -> Vec<Fact> {
    [coating(), vec![passed_test(60)]].concat()
}

/// 1 of 2 at 95 %: z² = 3.8415; ½ ± 1.9600 / 2.9207 · √(0.125 + 3.8415/16), by hand.
const OF_TWO: (f64, f64) = (0.0945, 0.9055);

#[actix_web::test]
async fn a_joint_counts_once_whose_first_test_failed() {
    let line = Line::with_joints(4).await;
    line.records("J-1", &passed_at_once()).await;
    line.records("J-2", &repaired_once()).await;
    // Not tested yet: not counted.
    line.records("J-3", &coating()).await;
    for (by, of, inspected) in [
        ("crew", vec!["A1"], 2),
        ("applicator", vec!["P-CREW"], 2),
        ("system", vec!["TWO"], 2),
        // Wrapped at 06:50 UTC, which is 08:50 on site.
        ("shift", vec!["day"], 2),
        ("lot", vec!["L-INNER", "L-OUTER", "L-PRIMER"], 2),
    ] {
        let found = rates(&line, &format!("by={by}")).await;
        let named: Vec<&str> = found.iter().map(|it| it["of"].as_str().unwrap()).collect();
        assert_eq!(named, of, "{by}");
        for rate in &found {
            assert_eq!(
                (&rate["inspected"], &rate["nonconforming"]),
                (&inspected.into(), &1.into())
            );
            assert_eq!((&rate["rate"], &rate["p_bar"]), (&0.5.into(), &0.5.into()));
            let ends = [&rate["low"], &rate["high"]].map(|it| it.as_f64().unwrap());
            assert!((ends[0] - OF_TWO.0).abs() < 5e-5 && (ends[1] - OF_TWO.1).abs() < 5e-5);
            // Two joints are too few for a day: the week of Monday, 8 June 2026, up to today.
            let point = &rate["points"][0];
            assert_eq!(
                (&point["from"], &point["to"]),
                (&"2026-06-08".into(), &"2026-06-10".into())
            );
            assert_eq!((&point["grouping"], &point["signal"]), (&"week".into(), &false.into()));
        }
    }
    let one = rates(&line, "by=lot&of=L-OUTER").await;
    assert_eq!((one.len(), &one[0]["of"]), (1, &"L-OUTER".into()));
    assert!(rates(&line, "by=crew&of=A2").await.is_empty());
    // The day before nobody tested.
    assert!(rates(&line, "by=crew&to=2026-06-09").await.is_empty());
    let other = line.stranger.asks(
        actix_web::http::Method::GET,
        "/v1/projects/SOUTH/quality/repair-rates?by=crew",
        None,
    );
    assert_eq!(other.await.expect(200)["items"], serde_json::json!([]));
}

#[actix_web::test]
async fn what_cannot_be_answered_is_refused() {
    let line = Line::new().await;
    for (query, status, code) in [
        ("", 400, "INVALID_PARAMETER"),
        ("?by=weather", 400, "INVALID_PARAMETER"),
        ("?by=crew&from=monday", 400, "INVALID_PARAMETER"),
        ("?by=crew&from=2026-06-11", 400, "INVALID_PARAMETER"),
        ("?by=crew&to=-9999-06-10", 400, "INVALID_PARAMETER"),
        ("?by=crew&from=2023-06-10&to=2026-06-10", 400, "INVALID_PARAMETER"),
    ] {
        let path = format!("/quality/repair-rates{query}");
        line.client.gets(&path).await.problem(status, code);
    }
    line.stranger.gets("/quality/repair-rates?by=crew").await.problem(404, "NOT_FOUND");
}

/// What the statement reads of the records is what the records say.
#[actix_web::test]
async fn the_rates_are_those_of_the_recorded_facts() {
    let line = Line::with_joints(8).await;
    let wrong = failed_test(60);
    let withdrawn = Fact::new("superseded", 65, serde_json::json!({})).instead_of(&wrong);
    let other = |fact: Fact| fact.with("crew", "A\"2").without("applicator");
    let stories = [
        passed_at_once(),
        repaired_once(),
        [coating(), vec![wrong, withdrawn, passed_test(80)]].concat(),
        // A pass with holidays counted is no pass.
        [coating(), vec![passed_test(60).with("holidays_found", 1)]].concat(),
        [coating(), vec![passed_test(60).without("holidays_found")]].concat(),
        [repaired_once(), vec![prepared(90), other(wrapped_outer(100)), passed_test(110)]].concat(),
        vec![
            prepared(1),
            wrapped_inner(2).without("crew").with("lots", serde_json::json!([])),
            damage_found(3),
            repaired(4),
            passed_test(5),
            lowered(6),
            backfilled(7),
        ],
        vec![
            prepared(1),
            wrapped_inner(2),
            wrapped_outer(3).with("layer", "armour"),
            failed_test(4),
        ],
    ];
    for (number, story) in (1..).zip(&stories) {
        line.records(&format!("J-{number}"), story).await;
    }
    let mut tx = line.app.app.begin_in(line.project).await.unwrap();
    let setup = app::setup::snapshot(&line.app.app, &mut tx, line.project).await.unwrap();
    let mut inspected = Vec::new();
    for number in 1..=8 {
        let name = format!("J-{number}");
        let joint = store::joints::id_of(&mut tx, line.project, &name).await.unwrap().unwrap();
        let stored = store::facts::of_joint(&mut tx, line.project, joint).await.unwrap();
        let facts: Vec<CoatFact> =
            stored.iter().map(|it| CoatFact::of(&it.record().unwrap().to_fact())).collect();
        let system = Some("TWO".to_owned());
        let found = inspections(&facts).into_iter();
        inspected.extend(found.map(|inspection| Inspected { inspection, system: system.clone() }));
    }
    drop(tx);
    assert_eq!(inspected.len(), 9);
    let day = |text: &str| text.parse::<NaiveDate>().unwrap();
    let span = Span { from: day("2026-04-30"), to: day("2026-06-10") };
    for (name, by) in [
        ("crew", By::Crew),
        ("applicator", By::Applicator),
        ("system", By::System),
        ("lot", By::Lot),
        ("shift", By::Shift),
    ] {
        let expected = repair_rates(&inspected, by, setup.time_zone, span).unwrap();
        let expected = serde_json::to_value(expected).unwrap();
        assert_eq!(Value::from(rates(&line, &format!("by={name}")).await), expected, "{name}");
    }
}
