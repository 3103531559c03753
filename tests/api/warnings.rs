//! Warnings: raised once, taken in hand by people, over when their condition is.

use actix_web::http::Method;
use chrono::TimeDelta;
use harness::{Line, Person, fact::damage_found};
use serde_json::{Value, json};
use store::warnings::{Raised, Raising, clear, raise};

async fn raises(line: &Line, subject: &str, severity: &str, left_m: i64) -> Raising {
    let now = line.app.now();
    let mut tx = line.app.worker.begin_in(line.project).await.unwrap();
    let warning = Raised {
        id: app::new_id(now),
        kind: "runs_out",
        subject,
        severity,
        detail: "tape runs out",
        values: json!({ "left_m": left_m }),
    };
    let raising = raise(&mut tx, line.project, &warning, now).await.unwrap();
    line.app.worker.commit(tx).await.unwrap();
    raising
}

async fn clears(line: &Line, subject: &str) {
    let mut tx = line.app.worker.begin_in(line.project).await.unwrap();
    clear(&mut tx, line.project, "runs_out", subject, line.app.now()).await.unwrap();
    line.app.worker.commit(tx).await.unwrap();
}

async fn listed(person: &Person, query: &str) -> Vec<Value> {
    let page = person.gets(&format!("/warnings{query}")).await.expect(200);
    page["items"].as_array().unwrap().clone()
}

async fn the_one(line: &Line) -> Value {
    let found = listed(&line.client, "?state=all").await;
    assert_eq!(found.len(), 1, "{found:#?}");
    found[0].clone()
}

async fn acknowledges(line: &Line, person: &Person, note: &str) -> harness::Answer {
    let id = the_one(line).await["id"].as_str().unwrap().to_owned();
    person.posts(&format!("/warnings/{id}/acknowledgement"), json!({ "note": note })).await
}

async fn history(line: &Line) -> Vec<String> {
    let id = the_one(line).await["id"].as_str().unwrap().to_owned();
    let shown = line.client.gets(&format!("/warnings/{id}")).await.expect(200);
    let entries = shown["history"].as_array().unwrap();
    entries.iter().map(|it| it["action"].as_str().unwrap().to_owned()).collect()
}

async fn told(line: &Line) -> Vec<String> {
    let page = line.client.gets("/changes?after=0&limit=500").await.expect(200);
    let topics = page["items"].as_array().unwrap().iter();
    let topics = topics.map(|it| it["topic"].as_str().unwrap().to_owned());
    topics.filter(|it| it.starts_with("warning.")).collect()
}

#[actix_web::test]
async fn a_warning_is_raised_once_however_often_the_check_runs() {
    let line = Line::new().await;
    let first = raises(&line, "INNER", "notice", 500).await;
    let Raising::Raised(id) = first else { panic!("{first:?}") };
    for _ in 0..20 {
        line.waits(TimeDelta::hours(1));
        assert_eq!(raises(&line, "INNER", "notice", 500).await, Raising::AlreadySo(id));
    }
    let shown = the_one(&line).await;
    assert_eq!(shown["values"], json!({ "left_m": 500 }));
    assert_eq!(shown["raised_at"], shown["updated_at"]);
    assert_eq!(
        (told(&line).await, history(&line).await),
        (vec!["warning.raised".into()], vec!["raised".into()])
    );

    assert_eq!(raises(&line, "INNER", "notice", 400).await, Raising::Updated(id));
    assert_eq!(the_one(&line).await["values"]["left_m"], 400);
    assert_eq!(told(&line).await, ["warning.raised", "warning.updated"]);
}

#[actix_web::test]
async fn two_checks_at_once_raise_one_warning() {
    let line = Line::new().await;
    let both = futures_util::future::join_all((0..8).map(|_| raises(&line, "INNER", "urgent", 0)));
    let raised = both.await.into_iter().filter(|it| matches!(it, Raising::Raised(_))).count();
    assert_eq!(raised, 1);
    assert_eq!(told(&line).await, ["warning.raised"]);
}

#[actix_web::test]
async fn somebody_takes_it_in_hand_and_it_stays_open() {
    let line = Line::new().await;
    raises(&line, "INNER", "notice", 500).await;
    let answer = acknowledges(&line, &line.materials, "ordered this morning").await.expect(201);
    assert_eq!(answer["acknowledgement"]["name"], "Name of materials");
    assert_eq!(answer["acknowledgement"]["note"], "ordered this morning");
    assert_eq!(listed(&line.client, "").await.len(), 1, "open until it is over");
    assert_eq!(listed(&line.client, "?state=acknowledged").await.len(), 1);

    let again = acknowledges(&line, &line.materials, "another note").await.expect(200);
    assert_eq!(again, answer, "it was so already");
    acknowledges(&line, &line.crew, "me too").await.problem(409, "WARNING_ACKNOWLEDGED");
    let refused = acknowledges(&line, &line.client, "I saw it").await.problem(403, "FORBIDDEN");
    assert!(refused["detail"].as_str().unwrap().contains("acknowledge_warnings"));
    acknowledges(&line, &line.crew, "").await.problem(422, "INVALID");
    assert_eq!(history(&line).await, ["raised", "acknowledged"]);
    assert_eq!(told(&line).await, ["warning.raised", "warning.acknowledged"]);

    raises(&line, "INNER", "notice", 450).await;
    assert_eq!(the_one(&line).await["acknowledgement"]["name"], "Name of materials");

    clears(&line, "INNER").await;
    assert_eq!(listed(&line.client, "").await.len(), 0);
    assert_eq!(listed(&line.client, "?state=cleared").await.len(), 1);
    acknowledges(&line, &line.crew, "too late").await.problem(409, "WARNING_CLEARED");
    assert_eq!(history(&line).await, ["raised", "acknowledged", "updated", "cleared"]);
    clears(&line, "INNER").await;
    assert_eq!(history(&line).await.len(), 4, "over once");
}

#[actix_web::test]
async fn a_graver_one_is_raised_again() {
    let line = Line::new().await;
    raises(&line, "INNER", "notice", 500).await;
    acknowledges(&line, &line.materials, "ordered").await.expect(201);
    assert!(matches!(raises(&line, "INNER", "urgent", 50).await, Raising::Raised(_)));
    let shown = the_one(&line).await;
    assert_eq!(shown["acknowledgement"], Value::Null);
    assert_eq!(shown["severity"], "urgent");
    assert_eq!(told(&line).await, ["warning.raised", "warning.acknowledged", "warning.raised"]);
    acknowledges(&line, &line.materials, "borrowed from spread B").await.expect(201);
    assert!(matches!(raises(&line, "INNER", "notice", 300).await, Raising::Updated(_)));
    assert_ne!(the_one(&line).await["acknowledgement"], Value::Null, "less grave is no news");
}

#[actix_web::test]
async fn lists_are_cut_by_state_kind_and_subject_and_paged() {
    let line = Line::with_ready_joint().await;
    line.qa.releases("J-1").await.expect(201);
    line.crew.records("J-1", &damage_found(500)).await.expect(201);
    for number in 0..7 {
        line.waits(TimeDelta::minutes(1));
        raises(&line, &format!("M-{number}"), "notice", 1).await;
    }
    clears(&line, "M-3").await;
    assert_eq!(listed(&line.client, "").await.len(), 7);
    assert_eq!(listed(&line.client, "?kind=runs_out").await.len(), 6);
    assert_eq!(listed(&line.client, "?kind=runs_out&subject=M-2").await.len(), 1);
    assert_eq!(listed(&line.client, "?kind=release_contradicted").await[0]["subject"], "J-1");
    line.client.gets("/warnings?state=lost").await.problem(400, "INVALID_PARAMETER");

    let (mut seen, mut cursor) = (Vec::new(), String::new());
    loop {
        let page =
            line.client.gets(&format!("/warnings?state=all&limit=3{cursor}")).await.expect(200);
        for item in page["items"].as_array().unwrap() {
            seen.push(item["subject"].as_str().unwrap().to_owned());
        }
        match page["next"].as_str() {
            Some(next) => cursor = format!("&cursor={next}"),
            None => break,
        }
    }
    assert_eq!(seen, ["M-6", "M-5", "M-4", "M-3", "M-2", "M-1", "M-0", "J-1"]);
}

#[actix_web::test]
async fn of_another_project_there_is_no_warning() {
    let line = Line::new().await;
    raises(&line, "INNER", "notice", 500).await;
    let id = the_one(&line).await["id"].as_str().unwrap().to_owned();
    let path = format!("/v1/projects/SOUTH/warnings/{id}");
    line.stranger.asks(Method::GET, &path, None).await.problem(404, "NOT_FOUND");
    let path = format!("{path}/acknowledgement");
    let note = json!({ "note": "mine" });
    line.stranger.asks(Method::POST, &path, Some(note)).await.problem(404, "NOT_FOUND");
}
