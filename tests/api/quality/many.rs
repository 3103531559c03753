//! The rates of a large project.
//!
//! `JOINTWARD_RATED_JOINTS=100000 cargo test --workspace --test api quality::many -- --nocapture`
//! fills a hundred thousand joints and prints the plan and what the rates take then.

use std::{env, time::Instant};

use harness::Line;
use sqlx::{AssertSqlSafe, Row};
use store::Scope;
use uuid::Uuid;

use super::rates;

/// Coated and tested joints of ten crews.
pub async fn fill(line: &Line, joints: i64) {
    let pool = &line.app.database.pool;
    let user: Uuid = line.crew.user.parse().unwrap();
    let filled = sqlx::query(include_str!("fill.sql")).bind(line.project.0).bind(line.app.now());
    filled.bind(user).bind(joints).execute(pool).await.unwrap();
    sqlx::raw_sql("VACUUM ANALYZE facts").execute(pool).await.unwrap();
    sqlx::raw_sql("VACUUM ANALYZE joints").execute(pool).await.unwrap();
}

#[actix_web::test]
async fn the_rates_of_many_joints_are_read_in_one_go() {
    let joints = env::var("JOINTWARD_RATED_JOINTS").ok().and_then(|it| it.parse().ok());
    let joints: i64 = joints.unwrap_or(2400);
    let line = Line::new().await;
    fill(&line, joints).await;
    for by in ["crew", "lot"] {
        for (span, from) in [("six weeks", "2026-04-30"), ("all", "2023-06-11")] {
            let started = Instant::now();
            let found = rates(&line, &format!("by={by}&from={from}")).await;
            let inspected: i64 = found.iter().map(|it| it["inspected"].as_i64().unwrap()).sum();
            println!("{by}, {span}: {inspected} in {:.2} s", started.elapsed().as_secs_f64());
            if by == "crew" && span == "all" {
                let bad: i64 = found.iter().map(|it| it["nonconforming"].as_i64().unwrap()).sum();
                // Ten of every five hundred, as they were filled.
                assert_eq!(
                    (inspected, bad),
                    (joints, (1..=joints).map(|n| i64::from(n % 500 < 10)).sum::<i64>())
                );
                assert_eq!(found.len(), 10);
            }
        }
    }
    for node in explain(&line).await {
        println!("{node}");
    }
}

/// The plans for six weeks and for everything.
async fn explain(line: &Line) -> Vec<String> {
    let mut plans = Vec::new();
    let source = include_str!("../../../services/store/src/quality.rs");
    let (_, rest) = source.split_once("r#\"").unwrap();
    let statement = rest.split_once("\"#").unwrap().0;
    let scope = Scope { project: Some(line.project), user: None };
    let mut tx = store::begin(&line.app.database.application, scope).await.unwrap();
    for from in ["2026-04-30T00:00:00Z", "2023-06-11T00:00:00Z"] {
        let explained = format!("EXPLAIN (ANALYZE, TIMING OFF, COSTS OFF) {statement}");
        let from: chrono::DateTime<chrono::Utc> = from.parse().unwrap();
        let tolerance = sqlx::postgres::types::PgInterval { months: 0, days: 0, microseconds: 1 };
        let rows = sqlx::query(AssertSqlSafe(explained)).bind(line.project.0).bind(from);
        let rows = rows.bind(line.app.now()).bind(false).bind(tolerance).fetch_all(&mut *tx).await;
        plans.extend(rows.unwrap().iter().map(|row| row.get::<String, _>(0)));
    }
    plans
}
