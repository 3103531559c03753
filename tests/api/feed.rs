//! What has changed: one sequence without holes, whoever writes at the same time.

use std::{
    collections::BTreeMap,
    sync::{
        Arc,
        atomic::{AtomicBool, Ordering},
    },
};

use actix_web::{http::Method, test::TestRequest};
use chrono::TimeDelta;
use domain::ids::ProjectId;
use harness::{
    Fact, Line,
    fact::{damage_found, welded},
    fresh_database, minute,
};
use proptest::{collection::vec, prelude::*, strategy::ValueTree, test_runner::TestRunner};
use serde_json::{Value, json};
use store::{PgPool, Scope, feed::Entry};

/// What one transaction does: entries between savepoints, each kept or not, and its own end.
#[derive(Debug, Clone)]
struct Plan {
    points: Vec<(usize, bool)>,
    commits: bool,
}

fn plans() -> impl Strategy<Value = Vec<Plan>> {
    let point = (0..4_usize, prop::bool::weighted(0.7));
    let plan = (vec(point, 0..4), prop::bool::weighted(0.7))
        .prop_map(|(points, commits)| Plan { points, commits });
    vec(plan, 30)
}

/// Carries out the plans; returns what was committed, transaction by transaction.
async fn write(
    pool: PgPool,
    project: ProjectId,
    writer: usize,
    plans: Vec<Plan>,
) -> Vec<Vec<String>> {
    let scope = Scope { project: Some(project), user: None };
    let mut committed = Vec::new();
    for (number, plan) in plans.into_iter().enumerate() {
        let mut tx = store::begin(&pool, scope).await.unwrap();
        let mut kept = Vec::new();
        for (place, (entries, keeps)) in plan.points.into_iter().enumerate() {
            let mut point = store::savepoint(&mut tx).await.unwrap();
            for entry in 0..entries {
                let subject = format!("{writer}/{number}/{place}/{entry}");
                let of = ("test.written", subject.as_str());
                store::feed::note(&mut point, project, of, &json!({}), minute(0)).await.unwrap();
                kept.extend(keeps.then_some(subject));
            }
            if keeps { point.commit().await.unwrap() } else { point.rollback().await.unwrap() }
        }
        if plan.commits {
            store::commit(tx).await.unwrap();
            committed.push(kept);
        } else {
            tx.rollback().await.unwrap();
        }
    }
    committed
}

/// Reads on from the highest number seen, as a client does, until nobody writes any more.
async fn read_along(pool: PgPool, project: ProjectId, done: Arc<AtomicBool>) -> Vec<Entry> {
    let scope = Scope { project: Some(project), user: None };
    let mut read: Vec<Entry> = Vec::new();
    loop {
        // Before the look: what is committed by then must be seen by it.
        let last_look = done.load(Ordering::SeqCst);
        let mut conn = store::acquire(&pool).await.unwrap();
        store::feed::number(&mut conn, &[project]).await.unwrap();
        drop(conn);
        let mut tx = store::begin(&pool, scope).await.unwrap();
        let seen = i64::try_from(read.len()).unwrap();
        for entry in store::feed::after(&mut tx, project, seen, 1000).await.unwrap() {
            assert_eq!(entry.seq, i64::try_from(read.len()).unwrap() + 1, "seen before its turn");
            read.push(entry);
        }
        if last_look {
            return read;
        }
    }
}

async fn empty_project(pool: &PgPool) -> ProjectId {
    sqlx::query_scalar(
        "WITH u AS (INSERT INTO users (id, email, name, password_hash, created_at)
                    VALUES (gen_random_uuid(), 'a@example.org', 'A', 'x', now()) RETURNING id)
         INSERT INTO projects (id, code, name, time_zone, units, created_by, created_at)
         SELECT gen_random_uuid(), 'P', 'P', 'UTC', 'si', id, now() FROM u RETURNING id",
    )
    .fetch_one(pool)
    .await
    .map(ProjectId)
    .unwrap()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn eight_writers_leave_no_hole_and_nobody_sees_a_number_before_its_turn() {
    let mut runner = TestRunner::deterministic();
    for _ in 0..3 {
        let database = fresh_database().await;
        let project = empty_project(&database.pool).await;
        let done = Arc::new(AtomicBool::new(false));
        let readers: Vec<_> = (0..2)
            .map(|_| (database.worker.clone(), Arc::clone(&done)))
            .map(|(pool, done)| tokio::spawn(read_along(pool, project, done)))
            .collect();
        let writers: Vec<_> = (0..8)
            .map(|writer| (writer, plans().new_tree(&mut runner).unwrap().current()))
            .map(|(writer, plans)| (writer, plans, database.application.clone()))
            .map(|(writer, plans, pool)| tokio::spawn(write(pool, project, writer, plans)))
            .collect();
        let mut expected = Vec::new();
        for writer in writers {
            expected.push(writer.await.unwrap());
        }
        done.store(true, Ordering::SeqCst);
        for reader in readers {
            let read = reader.await.unwrap();
            let count: usize = expected.iter().flatten().map(Vec::len).sum();
            assert!(count > 200, "{count} entries prove little");
            assert_eq!(read.len(), count);
            let place: BTreeMap<&str, usize> =
                read.iter().enumerate().map(|(place, it)| (it.subject.as_str(), place)).collect();
            for writer in &expected {
                // A writer's transactions in their order, and each of them in one piece.
                let places: Vec<usize> =
                    writer.iter().flatten().map(|it| place[it.as_str()]).collect();
                assert!(places.is_sorted(), "{places:?}");
                for transaction in writer.iter().filter(|it| !it.is_empty()) {
                    let first = place[transaction[0].as_str()];
                    let last = place[transaction[transaction.len() - 1].as_str()];
                    assert_eq!(last - first + 1, transaction.len());
                }
            }
        }
    }
}

#[tokio::test]
async fn whoever_has_waited_for_another_comes_after_it_however_early_it_began() {
    let database = fresh_database().await;
    let project = empty_project(&database.pool).await;
    let (pool, scope) = (&database.application, Scope { project: Some(project), user: None });
    let note = async |tx: &mut store::Tx, subject: &str| {
        let of = ("test.written", subject);
        store::feed::note(tx, project, of, &json!({}), minute(0)).await.unwrap();
    };
    let mut early = store::begin(pool, scope).await.unwrap();
    note(&mut early, "early, before it waits").await;
    let mut open = store::begin(pool, scope).await.unwrap();
    note(&mut open, "not committed yet").await;
    let mut late = store::begin(pool, scope).await.unwrap();
    note(&mut late, "late").await;
    store::commit(late).await.unwrap();
    note(&mut early, "early, after it has waited").await;
    store::commit(early).await.unwrap();

    let mut conn = store::acquire(&database.worker).await.unwrap();
    store::feed::number_all(&mut conn).await.unwrap();
    store::commit(open).await.unwrap();
    store::feed::number_all(&mut conn).await.unwrap();
    store::feed::number_all(&mut conn).await.unwrap();
    drop(conn);
    let mut tx = store::begin(pool, scope).await.unwrap();
    let read = store::feed::after(&mut tx, project, 0, 10).await.unwrap();
    let read: Vec<(i64, &str)> = read.iter().map(|it| (it.seq, it.subject.as_str())).collect();
    assert_eq!(
        read,
        [
            (1, "late"),
            (2, "early, before it waits"),
            (3, "early, after it has waited"),
            (4, "not committed yet")
        ]
    );
}

async fn topics(line: &Line, after: i64) -> Vec<(String, String)> {
    let page = line.client.gets(&format!("/changes?after={after}&limit=500")).await.expect(200);
    let text = |item: &Value, field: &str| item[field].as_str().unwrap().to_owned();
    let items = page["items"].as_array().unwrap();
    items.iter().map(|it| (text(it, "topic"), text(it, "subject"))).collect()
}

async fn head(line: &Line) -> i64 {
    line.client.gets("/changes").await.expect(200)["next_after"].as_i64().unwrap()
}

fn pairs(of: &[(&str, &str)]) -> Vec<(String, String)> {
    of.iter().map(|(a, b)| ((*a).to_owned(), (*b).to_owned())).collect()
}

#[actix_web::test]
async fn the_life_of_a_joint_is_told() {
    let line = Line::with_ready_joint().await;
    let start = head(&line).await;
    line.qa.releases("J-1").await.expect(201);
    assert_eq!(
        topics(&line, start).await,
        pairs(&[("release.given", "J-1"), ("joint.changed", "J-1")]),
        "the joint is stored twice with its release and told of once"
    );

    let start = head(&line).await;
    let damage = damage_found(500);
    line.crew.records("J-1", &damage).await.expect(201);
    let told = topics(&line, start).await;
    assert_eq!(
        told,
        pairs(&[
            ("release.contradicted", "J-1"),
            ("nonconformance.opened", "1"),
            ("warning.raised", "J-1"),
            ("joint.changed", "J-1"),
        ])
    );
    let page = line.client.gets(&format!("/changes?after={start}")).await.expect(200);
    let items = page["items"].as_array().unwrap();
    assert_eq!(items[0]["body"]["event"], json!(damage.id()));
    assert_eq!(items[3]["body"]["stage"], line.client.sees("J-1").await["stage"]);
    assert_eq!(items[3]["body"]["flags"], line.client.sees("J-1").await["flags"]);
    assert_eq!(page["next_after"], items[3]["seq"]);
}

#[actix_web::test]
async fn what_is_undone_is_not_told_of() {
    let line = Line::with_joints(2).await;
    let start = head(&line).await;
    let reused = welded(0);
    line.crew.records("J-1", &reused).await.expect(201);
    // A repeat, a fact under a used id, an unreadable one, an unknown joint; and one good one.
    let other = damage_found(1).with("id", reused.id());
    let batch = vec![
        reused.clone().on("J-1"),
        other.on("J-1"),
        Fact::new("danced", 2, json!({})).on("J-1"),
        welded(3).on("J-9"),
        welded(4).on("J-2"),
    ];
    line.crew.sends(batch).await;
    line.qa.releases("J-1").await.problem(409, "RELEASE_REFUSED");
    line.qa.asks_about_release(&json!({ "joints": ["J-1"] })).await;
    let joint = |number: &str| ("joint.changed".to_owned(), number.to_owned());
    assert_eq!(topics(&line, start).await, [joint("J-1"), joint("J-2")]);
}

#[actix_web::test]
async fn a_keyed_request_is_told_of_once_and_a_replay_not_at_all() {
    let line = Line::with_joints(1).await;
    let start = head(&line).await;
    let send = async |fact: &Fact| {
        let request = TestRequest::with_uri(&line.crew.path("/joints/J-1/events"))
            .method(Method::POST)
            .insert_header(("authorization", format!("Bearer {}", line.crew.token().await)))
            .insert_header(("idempotency-key", "k-1"))
            .set_json(&fact.0);
        line.app.call(request).await
    };
    let fact = welded(0);
    send(&fact).await.expect(201);
    send(&fact).await.expect(201);
    send(&damage_found(5)).await.problem(422, "IDEMPOTENCY_KEY_REUSED");
    assert_eq!(topics(&line, start).await, pairs(&[("joint.changed", "J-1")]));
}

#[actix_web::test]
async fn a_page_ends_where_the_next_begins() {
    let line = Line::with_joints(5).await;
    let all = topics(&line, 0).await;
    let (mut read, mut after) = (Vec::new(), 0);
    loop {
        let page = line.client.gets(&format!("/changes?after={after}&limit=7")).await.expect(200);
        let items = page["items"].as_array().unwrap();
        assert_eq!((page["oldest"].as_i64(), items.len() <= 7), (Some(1), true));
        if items.is_empty() {
            assert_eq!(page["next_after"], json!(after));
            break;
        }
        read.extend(items.iter().map(|it| it["seq"].as_i64().unwrap()));
        after = page["next_after"].as_i64().unwrap();
    }
    assert_eq!(read, (1..=i64::try_from(all.len()).unwrap()).collect::<Vec<_>>());
}

#[actix_web::test]
async fn whoever_comes_too_late_is_told_what_to_do() {
    let line = Line::with_joints(1).await;
    line.crew.records("J-1", &welded(0)).await.expect(201);
    let last = head(&line).await;
    line.client.gets(&format!("/changes?after={}", last + 1)).await.problem(410, "FEED_GONE");
    line.client.gets("/changes?after=-1").await.problem(400, "INVALID_PARAMETER");

    line.waits(TimeDelta::days(29));
    app::upkeep::clean(&line.app.worker).await.unwrap();
    line.client.gets("/changes?after=0").await.expect(200);
    line.waits(TimeDelta::days(2));
    line.crew.records("J-1", &damage_found(7)).await.expect(201);
    let cleaned = app::upkeep::clean(&line.app.worker).await.unwrap();
    assert_eq!(cleaned.changes, last.unsigned_abs());

    let told = line.client.gets("/changes?after=0").await.problem(410, "FEED_GONE");
    assert!(told["detail"].as_str().unwrap().contains("without `after`"), "{told}");
    let page = line.client.gets(&format!("/changes?after={last}")).await.expect(200);
    assert_eq!((page["oldest"].as_i64(), page["head"].as_i64()), (Some(last + 1), Some(last + 1)));
    assert_eq!(page["items"][0]["topic"], "joint.changed");

    line.waits(TimeDelta::days(40));
    app::upkeep::clean(&line.app.worker).await.unwrap();
    let page = line.client.gets(&format!("/changes?after={}", last + 1)).await.expect(200);
    assert_eq!(
        (page["oldest"].as_i64(), page["items"].as_array().unwrap().len()),
        (Some(last + 2), 0)
    );
}

#[actix_web::test]
async fn each_project_has_its_own_sequence() {
    let line = Line::with_joints(1).await;
    line.stranger.gets("/changes?after=0").await.problem(404, "NOT_FOUND");
    let path = "/v1/projects/SOUTH/changes?after=0";
    let page = line.stranger.asks(Method::GET, path, None).await.expect(200);
    assert_eq!((page["head"].as_i64(), page["oldest"].as_i64()), (Some(0), Some(1)));
}

/// Not a check: prints what the feed costs a recording request. In turns of fifty requests the
/// entries are kept, or thrown away before they cost anything.
/// `JOINTWARD_RECORDINGS=2000 cargo test --workspace --test api feed::recording -- --nocapture`.
#[actix_web::test]
async fn recording_is_measured() {
    const TURN: u32 = 50;
    let Ok(count) = std::env::var("JOINTWARD_RECORDINGS") else { return };
    let count: u32 = count.parse().unwrap();
    let line = Line::with_joints(count).await;
    let run = async |statement: &'static str| {
        sqlx::raw_sql(statement).execute(&line.app.database.pool).await.unwrap();
    };
    run("CREATE FUNCTION nothing() RETURNS trigger LANGUAGE plpgsql AS 'BEGIN RETURN NULL; END';
         CREATE TRIGGER nothing BEFORE INSERT ON feed_pending
             FOR EACH ROW EXECUTE FUNCTION nothing()")
    .await;
    let mut times = [Vec::new(), Vec::new()];
    for joint in 1..=count {
        let with = (joint - 1) / TURN % 2;
        if joint % TURN == 1 {
            line.crew.token().await;
            run(match with {
                0 => "ALTER TABLE feed_pending ENABLE TRIGGER nothing",
                _ => "ALTER TABLE feed_pending DISABLE TRIGGER nothing",
            })
            .await;
        }
        let started = std::time::Instant::now();
        line.crew.records(&format!("J-{joint}"), &welded(0)).await.expect(201);
        times[usize::try_from(with).unwrap()].push(started.elapsed().as_micros());
    }
    for (what, mut times) in ["without", "with"].into_iter().zip(times) {
        times.sort_unstable();
        let at = |percent: usize| times[times.len() * percent / 100];
        println!("{what} the feed: median {} us, 90 % {} us", at(50), at(90));
    }
}
