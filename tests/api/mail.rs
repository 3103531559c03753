//! E-mail to those who asked for it.

use std::sync::{Arc, Mutex};

use app::{
    App,
    mail::{Mailer, Sent, ask_due, digest_all, digest_of, send},
};
use chrono::{DateTime, TimeDelta, Utc};
use harness::{Line, Person};
use serde_json::{Value, json};
use store::warnings::{Raised, raise};
use tokio::{
    io::{AsyncBufReadExt, AsyncWriteExt, BufReader},
    net::{TcpListener, TcpStream},
};
use uuid::Uuid;

/// A mail server on this machine that keeps what it is given; while it is busy it takes nothing.
struct PostOffice {
    url: String,
    mails: Arc<Mutex<Vec<String>>>,
    busy: Arc<Mutex<bool>>,
}

impl PostOffice {
    async fn new() -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let url = format!("smtp://{}", listener.local_addr().unwrap());
        let (mails, busy): (Arc<Mutex<Vec<String>>>, Arc<Mutex<bool>>) = Default::default();
        let (kept, shut) = (Arc::clone(&mails), Arc::clone(&busy));
        tokio::spawn(async move {
            loop {
                let (stream, _) = listener.accept().await.unwrap();
                let shut = *shut.lock().unwrap();
                // A client that hangs up in the middle has sent nothing.
                if let Ok(Some(mail)) = take(stream, shut).await {
                    kept.lock().unwrap().push(mail);
                }
            }
        });
        Self { url, mails, busy }
    }

    fn worker(&self, line: &Line) -> App {
        let mailer = Mailer::new(&self.url, "Jointward <jointward@example.org>").unwrap();
        line.app.worker.clone().mailing_by(Some(mailer))
    }

    fn mails(&self) -> Vec<String> {
        self.mails.lock().unwrap().clone()
    }
}

/// As much of RFC 5321 as one mail takes.
async fn take(stream: TcpStream, busy: bool) -> std::io::Result<Option<String>> {
    let mut stream = BufReader::new(stream);
    stream.write_all(b"220 here\r\n").await?;
    let (mut line, mut mail) = (String::new(), None);
    loop {
        line.clear();
        if stream.read_line(&mut line).await? == 0 {
            return Ok(mail);
        }
        let answer: &[u8] = match line.get(..4).unwrap_or_default() {
            "MAIL" if busy => b"451 later\r\n",
            "DATA" => {
                stream.write_all(b"354 go on\r\n").await?;
                let mut text = String::new();
                while !text.ends_with("\r\n.\r\n") {
                    stream.read_line(&mut text).await?;
                }
                mail = Some(text);
                b"250 taken\r\n"
            }
            "QUIT" => {
                stream.write_all(b"221 bye\r\n").await?;
                return Ok(mail);
            }
            _ => b"250 well\r\n",
        };
        stream.write_all(answer).await?;
    }
}

async fn chooses(person: &Person, urgent: bool, digest: bool) {
    let choice = json!({ "urgent": urgent, "digest": digest });
    assert_eq!(person.puts("/me/notifications", choice.clone()).await.expect(200), choice);
}

async fn mails_to(person: &Person) -> Vec<Value> {
    let found = person.gets("/me/notifications").await.expect(200);
    found["mails"].as_array().unwrap().clone()
}

async fn raises(line: &Line, subject: &str, severity: &str) {
    let now = line.app.now();
    let mut tx = line.app.worker.begin_in(line.project).await.unwrap();
    let detail = "the tape runs out on 12 June";
    let warning = Raised {
        id: app::new_id(now),
        kind: "runs_out",
        subject,
        severity,
        detail,
        ..Raised::default()
    };
    raise(&mut tx, line.project, &warning, now).await.unwrap();
    line.app.worker.commit(tx).await.unwrap();
}

/// Sends what is due, as the jobs do.
async fn posts(worker: &App, line: &Line) -> Vec<Sent> {
    let ids: Vec<Uuid> = sqlx::query_scalar(
        "SELECT id FROM mails WHERE status = 'pending' AND next_at <= $1 ORDER BY created_at, id",
    )
    .bind(line.app.now())
    .fetch_all(&line.app.database.pool)
    .await
    .unwrap();
    assert_eq!(ask_due(worker).await.unwrap(), ids.len());
    assert_eq!(ask_due(worker).await.unwrap(), 0, "asked for once");
    let mut sent = Vec::new();
    for id in ids {
        sent.push(send(worker, line.project, id).await.unwrap());
    }
    sent
}

#[actix_web::test]
async fn an_urgent_warning_is_written_of_at_once_to_those_who_asked() {
    let line = Line::new().await;
    let office = PostOffice::new().await;
    let worker = office.worker(&line);
    chooses(&line.materials, true, false).await;
    chooses(&line.qa, false, true).await;
    raises(&line, "INNER", "notice").await;
    assert_eq!(posts(&worker, &line).await, [], "a notice can wait");
    raises(&line, "INNER", "urgent").await;
    raises(&line, "INNER", "urgent").await;
    assert_eq!(posts(&worker, &line).await, [Sent::Sent]);

    let mails = office.mails();
    assert_eq!(mails.len(), 1);
    for part in [
        "To: materials@example.org",
        "From: Jointward <jointward@example.org>",
        "Subject: NORTH: urgent: runs_out INNER",
        "Content-Type: text/plain",
        "the tape runs out on 12 June",
    ] {
        assert!(mails[0].contains(part), "{part}: {}", mails[0]);
    }
    let listed = mails_to(&line.materials).await;
    assert_eq!((listed.len(), listed[0]["status"].as_str()), (1, Some("sent")));
    assert_eq!(mails_to(&line.qa).await.len(), 0);
}

#[actix_web::test]
async fn without_a_mail_server_it_is_listed_as_skipped() {
    let line = Line::new().await;
    chooses(&line.materials, true, false).await;
    raises(&line, "INNER", "urgent").await;
    assert_eq!(posts(&line.app.worker, &line).await, [Sent::Skipped]);
    assert_eq!(mails_to(&line.materials).await[0]["status"], "skipped");
}

#[actix_web::test]
async fn a_busy_mail_server_is_asked_again_until_it_is_given_up() {
    let line = Line::new().await;
    let office = PostOffice::new().await;
    let worker = office.worker(&line);
    chooses(&line.materials, true, false).await;
    *office.busy.lock().unwrap() = true;
    raises(&line, "INNER", "urgent").await;
    for wait_min in [1, 5, 15] {
        assert_eq!(posts(&worker, &line).await, [Sent::Failed]);
        // The job that failed has its own time; then the schedule's.
        line.waits(TimeDelta::minutes(wait_min));
    }
    *office.busy.lock().unwrap() = false;
    assert_eq!(posts(&worker, &line).await, [Sent::Sent]);

    *office.busy.lock().unwrap() = true;
    raises(&line, "OUTER", "urgent").await;
    for wait_min in [1, 5, 15, 30, 60, 120, 0] {
        assert_eq!(posts(&worker, &line).await, [Sent::Failed]);
        line.waits(TimeDelta::minutes(wait_min));
    }
    assert_eq!(posts(&worker, &line).await, []);
    assert_eq!(mails_to(&line.materials).await[0]["status"], "failed");
    assert_eq!(office.mails().len(), 1);
}

#[actix_web::test]
async fn whoever_leaves_or_may_not_sign_in_is_written_to_no_more() {
    let line = Line::new().await;
    let office = PostOffice::new().await;
    let worker = office.worker(&line);
    chooses(&line.materials, true, false).await;
    chooses(&line.crew, true, false).await;
    raises(&line, "INNER", "urgent").await;
    let disabled = "UPDATE users SET disabled_at = now() WHERE email = 'materials@example.org'";
    sqlx::raw_sql(disabled).execute(&line.app.database.pool).await.unwrap();
    let mut sent = posts(&worker, &line).await;
    sent.sort_by_key(|it| *it == Sent::Sent);
    assert_eq!(sent, [Sent::Skipped, Sent::Sent]);

    let left = "DELETE FROM members m USING users u
                 WHERE u.id = m.user_id AND u.email = 'crew@example.org'";
    sqlx::raw_sql(left).execute(&line.app.database.pool).await.unwrap();
    raises(&line, "OUTER", "urgent").await;
    assert!(!posts(&worker, &line).await.contains(&Sent::Sent));
}

/// An instant of the test days, UTC; in Vienna it is two hours later in summer.
fn at(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}

#[actix_web::test]
async fn the_digest_comes_once_each_morning_by_the_clock_of_the_site() {
    let line = Line::new().await;
    let office = PostOffice::new().await;
    let worker = office.worker(&line);
    chooses(&line.qa, false, true).await;
    chooses(&line.materials, false, false).await;
    raises(&line, "INNER", "notice").await;
    raises(&line, "OUTER", "urgent").await;
    let mut written = Vec::new();
    // The project's zone is Europe/Vienna: 06:00 there is 04:00 UTC in summer.
    for time in [
        "2026-06-11T03:59:59Z",
        "2026-06-11T04:00:00Z",
        "2026-06-11T04:15:00Z",
        "2026-06-11T21:59:00Z",
        "2026-06-11T22:30:00Z",
        "2026-06-12T03:45:00Z",
        // The worker stood still in the morning.
        "2026-06-12T09:30:00Z",
        "2026-06-12T09:45:00Z",
        // The clocks go back on 25 October: 06:00 is 05:00 UTC from then on.
        "2026-10-25T04:45:00Z",
        "2026-10-25T05:00:00Z",
    ] {
        line.waits(at(time) - line.app.now());
        written.push(digest_of(&line.app.worker, line.project).await.unwrap());
    }
    assert_eq!(written, [0, 1, 0, 0, 0, 0, 1, 0, 0, 1]);
    assert_eq!(posts(&worker, &line).await, [Sent::Sent; 3]);
    let mails = office.mails();
    assert!(mails[0].contains("To: qa@example.org"), "{}", mails[0]);
    assert!(mails[0].contains("2 open warnings, 1 of them urgent"), "{}", mails[0]);
    let place = |text: &str| mails[0].find(text).unwrap();
    assert!(place("[urgent] runs_out OUTER") < place("[notice] runs_out INNER"));
}

#[actix_web::test]
async fn two_workers_make_one_digest_and_nothing_open_makes_none() {
    let line = Line::new().await;
    chooses(&line.qa, false, true).await;
    line.waits(at("2026-06-11T05:00:00Z") - line.app.now());
    assert_eq!(digest_all(&line.app.worker).await.unwrap(), 0);
    raises(&line, "INNER", "notice").await;
    assert_eq!(digest_all(&line.app.worker).await.unwrap(), 0, "this day's is made");
    line.waits(TimeDelta::days(1));
    let eight = (0..8).map(|_| digest_all(&line.app.worker));
    let written: u64 =
        futures_util::future::join_all(eight).await.into_iter().map(Result::unwrap).sum();
    assert_eq!(written, 1);
}

#[actix_web::test]
async fn what_somebody_chooses_is_their_own() {
    let line = Line::new().await;
    chooses(&line.client, true, true).await;
    let other = line.crew.gets("/me/notifications").await.expect(200);
    assert_eq!((&other["urgent"], &other["digest"]), (&json!(false), &json!(false)));
    line.stranger.gets("/me/notifications").await.problem(404, "NOT_FOUND");
    let wrong = json!({ "urgent": "yes" });
    line.client.puts("/me/notifications", wrong).await.problem(422, "INVALID");
}
