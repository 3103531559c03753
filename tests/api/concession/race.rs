//! The approval of a concession against a new fact of the same joint, at the same time; and the
//! walls of the database, around everything that decides.

use std::sync::Arc;

use app::{
    Actor, App, AppError,
    accounts::{Origin, prove},
    nonconformances::approve,
    projects::ProjectEntry,
    signing::Signing,
};
use chrono::TimeDelta;
use domain::{ids::NonconformanceId, joints::fact::parse};
use harness::{
    Line,
    actor::PASSWORD,
    fact::{damage_found, wrapped_inner},
};
use serde_json::json;

use super::{nonce, proposes, takes_seriously, with_expired_tape};

const PAIRS: u32 = 24;

/// Approved concessions of a joint that has changed between the two signatures.
const VIOLATIONS: &str = "
    SELECT count(*) FROM concession_approvals a
      JOIN concessions c ON c.project_id = a.project_id AND c.id = a.concession_id
      JOIN facts seen ON seen.project_id = c.project_id AND seen.joint_id = c.joint_id
                     AND seen.hash = c.chain_head
      JOIN facts f ON f.project_id = c.project_id AND f.joint_id = c.joint_id
                  AND f.seq > seen.seq
     WHERE f.xmin::text::bigint < a.xmin::text::bigint";

#[actix_web::test]
async fn a_new_fact_and_an_approval_wait_for_each_other() {
    let line = Line::with_joints(PAIRS).await;
    takes_seriously(&line, &["LOT_EXPIRED"]).await;
    let (qa, crew) = (entered(&line.qa).await, entered(&line.crew).await);
    let mut approved = 0;
    for number in 1..=PAIRS {
        let joint = format!("J-{number}");
        line.records(&joint, &with_expired_tape()).await;
        let opened = line.nonconformances().await[0].clone();
        assert_eq!(opened["joint"], json!(joint));
        let id = opened["id"].as_str().unwrap();
        proposes(&line.inspector, id, &["materials"]).await.expect(201);
        let signing = Signing {
            nonce: nonce(&line.qa, id, None).await,
            password: PASSWORD.into(),
            meaning: "approved".to_owned(),
            origin: Origin::default(),
        };
        let app = Arc::new(line.app.app.clone());
        let nonconformance = NonconformanceId(id.parse().unwrap());
        let approval =
            tokio::spawn(approves(Arc::clone(&app), qa.clone(), nonconformance, signing));
        let fact = if number.is_multiple_of(2) {
            wrapped_inner(70).with("lots", json!(["L-EXPIRED"]))
        } else {
            damage_found(70)
        };
        let fact = parse(&fact.0).unwrap();
        let (actor, project) = &crew;
        // The password of who approves takes its time: the fact arrives earlier, and just then, and
        // later, when another one has taken as long.
        for _ in 0..number % 3 {
            prove(&app, actor, PASSWORD.into(), &Origin::default()).await.unwrap();
        }
        app::joints::record(&app, actor, project, &joint, fact).await.unwrap();
        match approval.await.unwrap() {
            Ok(()) => approved += 1,
            Err(AppError::PreconditionFailed { .. }) => {}
            Err(error) => panic!("{error:?}"),
        }
        let gates = line.qa.sees(&joint).await["gates"].to_string();
        assert!(gates.contains("HOLIDAY_TEST_STALE"), "whoever was first: {gates}");
    }
    println!("{approved} of {PAIRS} approvals came first");
    assert_eq!(line.app.count(super::IN_FORCE).await, approved);
    assert_eq!(line.app.count(VIOLATIONS).await, 0);
    let closed = "SELECT count(*) FROM nonconformances WHERE disposition = 'use_as_is'";
    assert_eq!(line.app.count(closed).await, approved);
}

async fn entered(person: &harness::Person) -> (Actor, ProjectEntry) {
    (person.actor().await, person.entry().await)
}

async fn approves(
    app: Arc<App>,
    (actor, project): (Actor, ProjectEntry),
    id: NonconformanceId,
    signing: Signing,
) -> Result<(), AppError> {
    approve(&app, &actor, &project, id, signing).await.map(|_| ())
}

/// Runs hand-written SQL in the application's role; the constraint that refuses it.
async fn refused(line: &Line, statement: String) -> Option<String> {
    let scope = store::Scope { project: Some(line.project), user: None };
    let mut tx = store::begin(&line.app.database.application, scope).await.unwrap();
    let error = sqlx::raw_sql(sqlx::AssertSqlSafe(statement)).execute(&mut *tx).await.unwrap_err();
    let told = error.as_database_error().and_then(|it| it.constraint());
    Some(told.map_or_else(|| error.to_string(), str::to_owned))
}

#[actix_web::test]
async fn the_database_refuses_what_no_concession_may() {
    let (line, id) = super::held().await;
    proposes(&line.inspector, &id, &["materials"]).await.expect(201);
    line.waits(TimeDelta::seconds(1));
    nonce(&line.inspector, &id, None).await;
    // A second signature that answers the newest challenge, whoever that was shown.
    let signed =
        "WITH c AS (SELECT * FROM signing_challenges ORDER BY created_at DESC, id DESC LIMIT 1)
        INSERT INTO signatures (project_id, id, signer_id, printed_name, signed_at, meaning,
                                auth_method, challenge_id, subject_hash)
        SELECT project_id, '00000000-0000-0000-0000-00000000000a', user_id, 'A', now(), 'none',
               'password', id, subject_hash FROM c;";
    let approval = "INSERT INTO concession_approvals (project_id, concession_id, signature_id,
                                                      signer_role, approved_at)
        SELECT project_id, id, '00000000-0000-0000-0000-00000000000a', 'qa_manager', now()
          FROM concessions";
    let copy = |gates: &str, waived: &str| {
        format!(
            "{signed} INSERT INTO concessions (project_id, id, nonconformance_id, joint_id,
                 chain_head, gates, waived, reason, signature_id, signer_role, proposed_at)
             SELECT project_id, gen_random_uuid(), nonconformance_id, joint_id, chain_head,
                    {gates}, {waived}, reason, '00000000-0000-0000-0000-00000000000a',
                    signer_role, proposed_at FROM concessions"
        )
    };
    for hard in ["weld", "layers", "holiday_test", "damage", "freshness"] {
        let gates = copy(&format!("gates || '{hard}'::text"), "waived");
        assert_eq!(
            refused(&line, gates).await.as_deref(),
            Some("concessions_gates_check"),
            "{hard}"
        );
        let waived = format!("waived || jsonb_build_object('gate', '{hard}')");
        let waived = copy("gates", &waived);
        let told = refused(&line, waived).await;
        assert_eq!(told.as_deref(), Some("concessions_waived_check"), "{hard}");
    }
    let told = refused(&line, format!("{signed} {approval}")).await;
    assert_eq!(told.as_deref(), Some("concession_approvals_person_check"));
    line.waits(TimeDelta::seconds(1));
    nonce(&line.coordinator, &id, None).await;
    let told = refused(&line, format!("{signed} {approval}")).await;
    assert_eq!(told.as_deref(), Some("concession_approvals_role_check"));
    line.waits(TimeDelta::seconds(1));
    nonce(&line.qa, &id, Some(&[])).await;
    let told = refused(&line, format!("{signed} {approval}")).await;
    assert_eq!(told.as_deref(), Some("concession_approvals_subject_check"));
    line.waits(TimeDelta::seconds(1));
    line.qa.nonce(&json!({ "joints": ["J-1"] })).await;
    let told = refused(&line, format!("{signed} {approval}")).await;
    assert_eq!(told.as_deref(), Some("concession_approvals_purpose_check"));
    let use_as_is = "UPDATE nonconformances SET disposition = 'use_as_is', status = 'closed'";
    let told = refused(&line, use_as_is.to_owned()).await;
    assert_eq!(told.as_deref(), Some("nonconformances_concession_check"));
}
