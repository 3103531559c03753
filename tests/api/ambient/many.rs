//! The weather log when it has grown.
//!
//! `JOINTWARD_READINGS=10000000 cargo test --workspace --test api ambient::many -- --nocapture`
//! fills ten million readings and prints what the questions of the judgements take then.

use std::{env, time::Instant};

use chrono::{DateTime, TimeDelta, Utc};
use harness::Line;
use serde_json::{Value, json};
use sqlx::{AssertSqlSafe, Row};
use store::Scope;
use uuid::Uuid;

use super::{mild, outlook, puts, site, with};

/// The very statement, as it stands in the source: a copy would drift.
fn statement_of(source: &'static str) -> &'static str {
    let (_, rest) = source.split_once("r#\"").unwrap();
    rest.split_once("\"#").unwrap().0
}

async fn fill(line: &Line, readings: i64) {
    let fill = "
        INSERT INTO ambient_readings (
            project_id, id, spread, station, read_at, air_c, relative_humidity_percent, steel_c,
            supersedes, reason, recorded_at, recorded_by)
        SELECT $1, ('00000000-0000-7000-8000-' || lpad(to_hex(n), 12, '0'))::uuid,
               chr(65 + (n % 10)::int), '', $2 - n * interval '6 s', 12.5, 70,
               CASE WHEN n % 3 = 0 THEN 11.5 END,
               CASE WHEN n % 500 = 10 THEN
                    ('00000000-0000-7000-8000-' || lpad(to_hex(n - 10), 12, '0'))::uuid END,
               CASE WHEN n % 500 = 10 THEN 'entered wrongly' END, $2, $3
          FROM generate_series(1, $4) AS n";
    let user: Uuid = line.crew.user.parse().unwrap();
    let pool = &line.app.database.pool;
    let filled = sqlx::query(fill).bind(line.project.0).bind(line.app.now()).bind(user);
    filled.bind(readings).execute(pool).await.unwrap();
    sqlx::raw_sql("VACUUM ANALYZE ambient_readings").execute(pool).await.unwrap();
}

/// Every kind of node in the plan that reads the log, and the time that it took, ms.
async fn explain(line: &Line, spread: &str, moments: &[DateTime<Utc>]) -> (Vec<String>, f64) {
    let around = statement_of(include_str!("../../../services/store/src/ambient/around.rs"));
    let scope = Scope { project: Some(line.project), user: None };
    let mut tx = store::begin(&line.app.database.application, scope).await.unwrap();
    let mut best = (Vec::new(), f64::INFINITY);
    // The first time the pages come from the disk.
    for _ in 0..5 {
        let explained = format!("EXPLAIN (ANALYZE, FORMAT JSON) {around}");
        let row = sqlx::query(AssertSqlSafe(explained)).bind(line.project.0).bind(spread);
        let row = row.bind(moments).bind(240).fetch_one(&mut *tx).await.unwrap();
        let plan: Value = row.get(0);
        let mut scans = Vec::new();
        collect(&plan[0]["Plan"], &mut scans);
        let ms = plan[0]["Execution Time"].as_f64().unwrap();
        if ms < best.1 {
            best = (scans, ms);
        }
    }
    best
}

fn collect(node: &Value, scans: &mut Vec<String>) {
    if node["Relation Name"] == "ambient_readings" {
        let kind = node["Node Type"].as_str().unwrap();
        scans.push(format!("{kind} by {}", node["Index Name"].as_str().unwrap_or("nothing")));
    }
    for child in node["Plans"].as_array().into_iter().flatten() {
        collect(child, scans);
    }
}

#[actix_web::test]
async fn the_readings_around_a_moment_are_found_by_their_index() {
    let readings = env::var("JOINTWARD_READINGS").ok().and_then(|it| it.parse().ok());
    let readings: i64 = readings.unwrap_or(100_000);
    let line = site().await;
    let started = Instant::now();
    fill(&line, readings).await;
    println!(
        "{readings} readings of 10 spreads filled in {:.1} s",
        started.elapsed().as_secs_f64()
    );
    let middle = line.app.now() - TimeDelta::seconds(readings * 3);
    for count in [1, 8] {
        let moments: Vec<_> = (0..count).map(|it| middle + TimeDelta::minutes(40 * it)).collect();
        let (scans, ms) = explain(&line, "C", &moments).await;
        println!("the readings around {count} moments: {ms:.3} ms ({} scans)", scans.len());
        assert!(!scans.is_empty());
        for scan in &scans {
            assert!(scan.contains("Index"), "{scans:?}");
            assert!(!scan.contains("Seq Scan"), "{scans:?}");
        }
    }
    let started = Instant::now();
    let page = line.client.gets("/ambient/readings?limit=50").await.expect(200);
    println!("a page of 50 of the log: {:.1} ms", started.elapsed().as_secs_f64() * 1000.0);
    assert_eq!(page["items"].as_array().unwrap().len(), 50);
}

#[actix_web::test]
async fn the_coming_days_of_a_large_project_are_judged() {
    let line = Line::new().await;
    let letters: Vec<String> = ('K'..='T').map(String::from).collect();
    for system in 0..5 {
        let limits = json!({ "steel_min_c": 5 + system });
        let code = format!("X{system}");
        puts(&line.admin, "stock/materials", &code, json!({ "name": "Tape", "limits": limits }))
            .await;
        let layer = json!({ "role": "inner_wrap", "material": code, "thickness_mm": 1.0 });
        let body = json!({ "name": "Tape", "surface_grade": "St 3", "layers": [layer] });
        puts(&line.admin, "coating-systems", &code, body).await;
    }
    let mut kp = 1000.0;
    for spread in &letters {
        puts(&line.admin, "spreads", spread, json!({ "name": "Spread" })).await;
        for system in 0..5 {
            let section = json!({
                "name": "Section", "kp_from_km": kp, "kp_to_km": kp + 1.0, "line_pipe": "DN500",
                "coating_system": format!("X{system}"), "spread": spread,
                "inspection_plan": "ITP-1", "backfill": "screened", "design_temperature_c": 40.0,
            });
            puts(&line.admin, "sections", &format!("{spread}-{system}"), section).await;
            kp += 1.0;
        }
        // Four issues a day for two days, each for ten days.
        for issue in 0..8 {
            let issued_at = line.app.now() - TimeDelta::hours(6 * issue);
            let one = with(outlook(issued_at, &mild(issued_at, 240)), "spread", spread.as_str());
            line.coordinator.posts("/ambient/outlooks", one).await.expect(201);
        }
    }
    let (app, now) = (&line.app.app, line.app.now());
    let mut tx = app.begin_in(line.project).await.unwrap();
    let setup = app::setup::snapshot(app, &mut tx, line.project).await.unwrap();
    let mut best = f64::INFINITY;
    for _ in 0..5 {
        let started = Instant::now();
        let found = app::ambient::workable(&mut tx, line.project, &setup, now, 10).await.unwrap();
        best = best.min(started.elapsed().as_secs_f64() * 1000.0);
        let hours = |it: &domain::ambient::workable::SpreadSystemDays| {
            it.days.iter().map(|day| day.hours.len()).sum::<usize>()
        };
        let of_ten: Vec<usize> =
            found.iter().filter(|it| it.system.starts_with('X')).map(hours).collect();
        // The fourth issue begins with the first day on site, at 22:00 UTC of the day before.
        assert_eq!(of_ten, [240; 50]);
    }
    println!("10 spreads, 10 days, 5 systems: {best:.1} ms");
}
