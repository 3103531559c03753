//! Releases against the facts that forbid them, at the same time on the same joint.

use app::{
    AppError,
    accounts::Origin,
    joints::BatchItem,
    releases::{Ask, JointAnswer, Named, Signing},
};
use domain::joints::fact::parse;
use futures_util::{StreamExt, stream};
use harness::{
    Fact, Line,
    actor::PASSWORD,
    fact::{damage_found, failed_test, passed_test, prepared, weld_accepted, wrapped_inner},
    fresh_database,
};
use sqlx::Connection;

/// Pairs in an ordinary run; `JOINTWARD_RACE_PAIRS` asks for another number.
const PAIRS: u32 = 1_000;

/// Pairs under way at once, each on two connections.
const AT_ONCE: usize = 4;

/// Releases in force although the joint was disturbed after their test.
const VIOLATIONS: &str = "
    SELECT count(*) FROM backfill_releases r
      JOIN facts t ON t.project_id = r.project_id AND t.id = r.holiday_test_id
     WHERE r.contradicted_at IS NULL
       AND EXISTS (SELECT FROM facts f
                    WHERE f.project_id = r.project_id AND f.joint_id = r.joint_id
                      AND f.id <> t.id AND f.occurred_at >= t.occurred_at
                      AND f.kind IN ('damage_found', 'holiday_tested'))";

#[derive(Debug, PartialEq, Eq)]
enum First {
    Release,
    Fact,
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn no_release_outlives_a_fact_that_forbids_it() {
    let pairs = std::env::var("JOINTWARD_RACE_PAIRS").ok().and_then(|it| it.parse().ok());
    let pairs = pairs.unwrap_or(PAIRS);
    let line = Line::new().await;
    let joints = line.adds_joints("S2", "R", pairs).await;
    let racer = Racer::new(&line).await;
    for some in joints.chunks(100) {
        racer.makes_ready(some).await;
    }

    let started = std::time::Instant::now();
    let races =
        joints.into_iter().enumerate().map(|(index, joint)| racer.clone().races(index, joint));
    let firsts: Vec<First> = stream::iter(races).buffer_unordered(AT_ONCE).collect().await;
    let took = started.elapsed();

    let releases = firsts.iter().filter(|first| **first == First::Release).count();
    println!("{pairs} pairs in {took:.1?}: {releases} releases came first");
    assert_eq!(line.app.count(VIOLATIONS).await, 0);
    let released = line.app.count("SELECT count(*) FROM backfill_releases").await;
    assert_eq!(usize::try_from(released).unwrap(), releases, "who was told so is released");
    let forbidding = "SELECT count(*) FROM facts
        WHERE kind = 'damage_found' OR (kind = 'holiday_tested' AND seq = 5)";
    assert_eq!(line.app.count(forbidding).await, i64::from(pairs), "no fact is lost");
    let opened = "SELECT count(*) FROM nonconformances WHERE code = 'RELEASE_CONTRADICTED'";
    assert_eq!(line.app.count(opened).await, released, "each contradiction is seen");
    let stale = "SELECT count(*) FROM joints WHERE stage IN ('tested', 'released')";
    assert_eq!(line.app.count(stale).await, 0);
    assert!(releases > 0 && firsts.contains(&First::Fact), "both orders have to happen");
}

#[derive(Clone)]
struct Racer {
    app: app::App,
    qa: (app::Actor, app::projects::ProjectEntry),
    inspector: (app::Actor, app::projects::ProjectEntry),
}

impl Racer {
    async fn new(line: &Line) -> Self {
        let qa = (line.qa.actor().await, line.qa.entry().await);
        let inspector = (line.inspector.actor().await, line.inspector.entry().await);
        Self { app: line.app.app.clone(), qa, inspector }
    }

    async fn makes_ready(&self, joints: &[String]) {
        let facts = |joint: &String| {
            let facts = [weld_accepted(10), prepared(20), wrapped_inner(40), passed_test(60)];
            let joint = Some(joint.clone());
            facts.map(|fact| BatchItem { joint: joint.clone(), fact: fact.0 })
        };
        let items = joints.iter().flat_map(facts).collect();
        let (actor, project) = &self.inspector;
        let answers = app::joints::record_batch(&self.app, actor, project, items).await.unwrap();
        assert!(answers.iter().all(|answer| answer.result.is_ok()));
    }

    /// Lets the two loose on `joint`; which fact, and which of them starts first, takes turns.
    async fn races(self, index: usize, joint: String) -> First {
        let (actor, project) = &self.qa;
        let named = Named::Joints(vec![joint.clone()]);
        let challenge = app::releases::challenge(&self.app, actor, project, &named).await.unwrap();
        let signing = Signing {
            nonce: challenge.nonce,
            password: PASSWORD.into(),
            meaning: "released for backfill".to_owned(),
            origin: Origin::default(),
        };
        let fact = if index.is_multiple_of(2) { damage_found(70) } else { failed_test(70) };
        let release = self.clone().releases(Ask { named, signing });
        let fact = self.clone().records(joint, fact);
        let (release, fact) = if (index / 2).is_multiple_of(2) {
            let release = tokio::spawn(release);
            (release, tokio::spawn(fact))
        } else {
            let fact = tokio::spawn(fact);
            (tokio::spawn(release), fact)
        };
        fact.await.unwrap().unwrap();
        match release.await.unwrap() {
            Ok(answers) if answers[0].status == "released" => First::Release,
            Ok(answers) => panic!("neither released nor voided: {answers:?}"),
            Err(AppError::PreconditionFailed { .. }) => First::Fact,
            Err(error) => panic!("{error:?}"),
        }
    }

    async fn releases(self, ask: Ask) -> Result<Vec<JointAnswer>, AppError> {
        let (actor, project) = &self.qa;
        app::releases::give(&self.app, actor, project, ask).await
    }

    async fn records(self, joint: String, fact: Fact) -> Result<(), AppError> {
        let (actor, project) = &self.inspector;
        let fact = parse(&fact.0).unwrap();
        app::joints::record(&self.app, actor, project, &joint, fact).await.map(|_| ())
    }
}

/// Two connections to a database where a joint is tested and neither damaged nor released, with
/// nothing but plain tables: no trigger, no constraint.
async fn two_clients() -> (harness::database::Database, sqlx::PgConnection, sqlx::PgConnection) {
    let database = fresh_database().await;
    let plain = "CREATE SCHEMA trial;
        CREATE TABLE trial.joints (id int PRIMARY KEY);
        CREATE TABLE trial.damages (joint int);
        CREATE TABLE trial.releases (joint int, contradicted boolean NOT NULL DEFAULT false);
        INSERT INTO trial.joints VALUES (1)";
    sqlx::raw_sql(plain).execute(&database.pool).await.unwrap();
    let one = sqlx::PgConnection::connect(&database.url).await.unwrap();
    let other = sqlx::PgConnection::connect(&database.url).await.unwrap();
    (database, one, other)
}

async fn run(client: &mut sqlx::PgConnection, statement: &'static str) -> u64 {
    sqlx::query(statement).execute(client).await.unwrap().rows_affected()
}

const UNDAMAGED: &str = "SELECT count(*) FROM trial.damages WHERE joint = 1";
const RELEASE: &str = "INSERT INTO trial.releases VALUES (1)";
const DAMAGE: &str = "INSERT INTO trial.damages VALUES (1)";
const CONTRADICT: &str = "UPDATE trial.releases SET contradicted = true WHERE joint = 1";
const TRIAL_VIOLATIONS: &str = "SELECT count(*) FROM trial.releases r
    JOIN trial.damages d ON d.joint = r.joint WHERE NOT r.contradicted";

async fn count(client: &mut sqlx::PgConnection, statement: &'static str) -> i64 {
    sqlx::query_scalar(statement).fetch_one(client).await.unwrap()
}

#[tokio::test]
async fn without_the_lock_a_damage_slips_between_check_and_release() {
    let (_database, mut qa, mut crew) = two_clients().await;
    run(&mut qa, "BEGIN").await;
    assert_eq!(count(&mut qa, UNDAMAGED).await, 0, "it may be released");
    run(&mut crew, "BEGIN").await;
    run(&mut crew, DAMAGE).await;
    assert_eq!(run(&mut crew, CONTRADICT).await, 0, "there is no release to contradict yet");
    run(&mut crew, "COMMIT").await;
    run(&mut qa, RELEASE).await;
    run(&mut qa, "COMMIT").await;

    assert_eq!(count(&mut qa, TRIAL_VIOLATIONS).await, 1);
}

#[tokio::test]
async fn with_the_lock_the_damage_waits_and_contradicts_the_release() {
    let (_database, mut qa, mut crew) = two_clients().await;
    run(&mut qa, "BEGIN").await;
    run(&mut qa, "SELECT FROM trial.joints WHERE id = 1 FOR UPDATE").await;
    assert_eq!(count(&mut qa, UNDAMAGED).await, 0, "it may be released");

    let now = sqlx::query("SELECT FROM trial.joints WHERE id = 1 FOR UPDATE NOWAIT");
    let error = now.execute(&mut crew).await.unwrap_err();
    let code = error.as_database_error().and_then(|error| error.code().map(String::from));
    assert_eq!(code.as_deref(), Some("55P03"), "the crew has to wait: {error}");

    let crew = tokio::spawn(async move {
        run(&mut crew, "BEGIN").await;
        run(&mut crew, "SELECT FROM trial.joints WHERE id = 1 FOR UPDATE").await;
        run(&mut crew, DAMAGE).await;
        let contradicted = run(&mut crew, CONTRADICT).await;
        run(&mut crew, "COMMIT").await;
        contradicted
    });
    run(&mut qa, RELEASE).await;
    run(&mut qa, "COMMIT").await;

    assert_eq!(crew.await.unwrap(), 1, "the release is contradicted");
    assert_eq!(count(&mut qa, TRIAL_VIOLATIONS).await, 0);
}
