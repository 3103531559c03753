//! Who did what in a project with many facts: found by indexes, whoever asks for what.

use std::time::Instant;

use chrono::{DateTime, Utc};
use harness::Line;
use serde_json::Value;
use sqlx::{AssertSqlSafe, Row};
use store::Scope;
use uuid::Uuid;

use crate::quality::fill;

type Asked = (Option<Uuid>, Option<Uuid>, DateTime<Utc>, DateTime<Utc>, String);

/// The nodes of the plan that read facts, and the time that all of it took, ms.
async fn explain(line: &Line, asked: &Asked) -> (Vec<String>, f64) {
    // The very statement, as it stands in the source: a copy would drift.
    let source = include_str!("../../../services/store/src/audit.rs");
    let (_, rest) = source.split_once("r#\"").unwrap();
    let statement = rest.split_once("\"#").unwrap().0;
    let scope = Scope { project: Some(line.project), user: None };
    let mut tx = store::begin(&line.app.database.application, scope).await.unwrap();
    sqlx::raw_sql("SET LOCAL plan_cache_mode = force_custom_plan").execute(&mut *tx).await.unwrap();
    let explained = format!("EXPLAIN (ANALYZE, FORMAT JSON) {statement}");
    let (joint, user, from, until, key) = asked;
    let row = sqlx::query(AssertSqlSafe(explained)).bind(line.project.0).bind(joint).bind(user);
    let row = row.bind(from).bind(until).bind(key).bind(51_i64).fetch_one(&mut *tx).await.unwrap();
    let plan: Value = row.get(0);
    let mut scans = Vec::new();
    collect(&plan[0]["Plan"], &mut scans);
    (scans, plan[0]["Execution Time"].as_f64().unwrap())
}

fn collect(node: &Value, scans: &mut Vec<String>) {
    if node["Relation Name"] == "facts" {
        let kind = node["Node Type"].as_str().unwrap();
        scans.push(format!("{kind} by {}", node["Index Name"].as_str().unwrap_or("nothing")));
    }
    for child in node["Plans"].as_array().into_iter().flatten() {
        collect(child, scans);
    }
}

#[actix_web::test]
async fn no_question_reads_all_facts() {
    let joints = std::env::var("JOINTWARD_AUDITED_JOINTS").ok().and_then(|it| it.parse().ok());
    let line = Line::new().await;
    fill(&line, joints.unwrap_or(2400)).await;
    let now = line.app.now();
    let joint = "00000000-0000-7000-8000-000000000400".parse().unwrap();
    let crew: Uuid = line.crew.user.parse().unwrap();
    let idle: Uuid = line.client.user.parse().unwrap();
    let day = now - chrono::TimeDelta::days(3);
    let (start, none) = (DateTime::UNIX_EPOCH, String::new());
    for (what, asked, by) in [
        ("the newest", (None, None, start, now, none.clone()), "facts_recorded_at_idx"),
        ("from the middle on", (None, None, start, day, "fact:".into()), "facts_recorded_at_idx"),
        ("a day", (None, None, day, now, none.clone()), "facts_recorded_at_idx"),
        ("who recorded all", (None, Some(crew), start, now, none.clone()), "facts_recorded_"),
        (
            "who recorded nothing",
            (None, Some(idle), start, now, none.clone()),
            "facts_recorded_by_idx",
        ),
        ("a joint", (Some(joint), None, start, now, none.clone()), "facts_joint_id_seq_key"),
    ] {
        let (scans, ms) = explain(&line, &asked).await;
        println!("{what}: {ms:.2} ms, {scans:?}");
        assert!(!scans.is_empty(), "{what}");
        for scan in &scans {
            assert!(scan.contains("Index") && scan.contains(by), "{what}: {scan}");
        }
    }
    let started = Instant::now();
    let page = line.qa.gets("/audit").await.expect(200);
    println!("a page of 50: {:.1} ms", started.elapsed().as_secs_f64() * 1000.0);
    assert_eq!(page["items"].as_array().unwrap().len(), 50);
}
