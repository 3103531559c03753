//! Signing in, staying signed in, and being shut out.

use std::rc::Rc;

use actix_web::{http::Method, test::TestRequest};
use chrono::TimeDelta;
use harness::{
    Line, Person, TestApp,
    actor::PASSWORD,
    app::{Answer, texts},
};
use serde_json::{Value, json};

const NEW_PASSWORD: &str = "a short walk back in the rain";

async fn sign_in(app: &TestApp, email: &str, password: &str, from: &str) -> Answer {
    let who = json!({ "email": email, "password": password });
    let request = TestRequest::post().uri("/v1/sessions").set_json(who);
    app.call(request.peer_addr(format!("{from}:4711").parse().unwrap())).await
}

async fn refresh(app: &TestApp, token: &Value) -> Answer {
    let body = json!({ "refresh_token": token });
    app.call(TestRequest::post().uri("/v1/sessions/refresh").set_json(body)).await
}

async fn me(app: &TestApp, session: &Value) -> Answer {
    let bearer = format!("Bearer {}", session["access_token"].as_str().unwrap());
    let request = TestRequest::get().uri("/v1/me").insert_header(("authorization", bearer));
    app.call(request).await
}

const CREW: &str = "crew@example.org";
const HOME: &str = "192.0.2.1";

#[actix_web::test]
async fn a_refresh_token_works_once_and_a_lost_reply_may_be_asked_for_again() {
    let line = Line::new().await;
    let app = &line.app;
    let first = sign_in(app, CREW, PASSWORD, HOME).await.expect(201);
    let second = refresh(app, &first["refresh_token"]).await.expect(200);
    assert_ne!(first["refresh_token"], second["refresh_token"]);

    line.waits(TimeDelta::seconds(60));
    let again = refresh(app, &first["refresh_token"]).await.expect(200);
    me(app, &again).await.expect(200);

    line.waits(TimeDelta::seconds(1));
    refresh(app, &first["refresh_token"]).await.problem(401, "REFRESH_TOKEN_REFUSED");
}

#[actix_web::test]
async fn an_old_refresh_token_ends_the_session_for_thief_and_owner() {
    let line = Line::new().await;
    let app = &line.app;
    let first = sign_in(app, CREW, PASSWORD, HOME).await.expect(201);
    let second = refresh(app, &first["refresh_token"]).await.expect(200);
    line.waits(TimeDelta::seconds(61));

    refresh(app, &first["refresh_token"]).await.problem(401, "REFRESH_TOKEN_REFUSED");

    refresh(app, &second["refresh_token"]).await.problem(401, "REFRESH_TOKEN_REFUSED");
    me(app, &second).await.problem(401, "SESSION_ENDED");
}

#[actix_web::test]
async fn a_session_ends_after_thirty_days_however_often_it_is_refreshed() {
    let line = Line::new().await;
    let mut session = sign_in(&line.app, CREW, PASSWORD, HOME).await.expect(201);
    for _ in 0..29 {
        line.waits(TimeDelta::days(1));
        session = refresh(&line.app, &session["refresh_token"]).await.expect(200);
    }
    line.waits(TimeDelta::days(1));
    refresh(&line.app, &session["refresh_token"]).await.problem(401, "REFRESH_TOKEN_REFUSED");
}

#[actix_web::test]
async fn a_device_can_be_signed_out_from_another() {
    let line = Line::new().await;
    let app = &line.app;
    let lost = sign_in(app, CREW, PASSWORD, HOME).await.expect(201);
    me(app, &lost).await.expect(200);
    let sessions = line.crew.asks(Method::GET, "/v1/sessions", None).await.expect(200);
    let other = sessions["items"].as_array().unwrap().iter().find(|it| it["current"] == false);
    let path = format!("/v1/sessions/{}", other.unwrap()["id"].as_str().unwrap());

    let stranger = line.inspector.asks(Method::DELETE, &path, None).await;
    stranger.problem(404, "NOT_FOUND");
    me(app, &lost).await.expect(200);
    assert_eq!(line.crew.asks(Method::DELETE, &path, None).await.status, 204);

    me(app, &lost).await.problem(401, "SESSION_ENDED");
    refresh(app, &lost["refresh_token"]).await.problem(401, "REFRESH_TOKEN_REFUSED");
}

/// How many of `guesses`, one a second, were looked at.
async fn guess(line: &Line, email: &str, from: &str, guesses: u32) -> u32 {
    let mut looked_at = 0;
    for _ in 0..guesses {
        let answer = sign_in(&line.app, email, "not the password of anybody", from).await;
        match answer.status {
            401 => looked_at += 1,
            _ => {
                let wait: i64 = answer.header("retry-after").parse().unwrap();
                assert!((1..=900).contains(&wait), "{wait}");
                answer.problem(429, "TOO_MANY_ATTEMPTS");
            }
        }
        line.waits(TimeDelta::seconds(1));
    }
    looked_at
}

#[actix_web::test]
async fn guessing_gets_slower_and_a_right_password_works_after_the_wait() {
    let line = Line::new().await;
    assert_eq!(guess(&line, CREW, "203.0.113.9", 900).await, 10);

    sign_in(&line.app, CREW, PASSWORD, "203.0.113.9").await.problem(429, "TOO_MANY_ATTEMPTS");
    let other = "inspector@example.org";
    sign_in(&line.app, other, PASSWORD, "203.0.113.10").await.expect(201);
    line.waits(TimeDelta::minutes(15));
    sign_in(&line.app, CREW, PASSWORD, "203.0.113.9").await.expect(201);
    sign_in(&line.app, CREW, "wrong", "203.0.113.9").await.problem(401, "WRONG_CREDENTIALS");
}

#[actix_web::test]
async fn whoever_does_not_exist_is_slowed_down_alike() {
    let line = Line::new().await;
    let unknown = guess(&line, "nobody@example.org", "203.0.113.9", 120).await;
    let known = guess(&line, CREW, "203.0.113.10", 120).await;
    assert_eq!(unknown, known);
}

#[actix_web::test]
async fn guesses_from_elsewhere_do_not_hold_anybody_up_at_home() {
    let line = Line::new().await;
    sign_in(&line.app, CREW, PASSWORD, HOME).await.expect(201);
    guess(&line, CREW, "203.0.113.9", 60).await;

    sign_in(&line.app, CREW, PASSWORD, HOME).await.expect(201);
    sign_in(&line.app, CREW, PASSWORD, "203.0.113.9").await.problem(429, "TOO_MANY_ATTEMPTS");
}

#[actix_web::test]
async fn one_address_that_tries_many_accounts_is_slowed_down() {
    let line = Line::new().await;
    let mut looked_at = 0;
    for number in 0..100 {
        let email = format!("somebody-{number}@example.org");
        let answer = sign_in(&line.app, &email, "not the password", "203.0.113.9").await;
        looked_at += i32::from(answer.status == 401);
    }
    assert_eq!(looked_at, 21);
}

#[actix_web::test]
async fn a_thousand_guesses_at_once_are_looked_at_one_by_one() {
    let line = Line::new().await;
    let wrong = "not the password of anybody";
    let guesses = (0..1000).map(|_| sign_in(&line.app, CREW, wrong, "203.0.113.9"));
    let answers = futures_util::future::join_all(guesses).await;
    let looked_at = answers.iter().filter(|it| it.status == 401).count();
    assert_eq!(looked_at, 2, "the second wrong one closes the account");
}

async fn changes_password(person: &Person, from: &str, to: &str) -> Answer {
    let body = json!({ "password": from, "new_password": to });
    person.asks(Method::PUT, "/v1/me/password", Some(body)).await
}

#[actix_web::test]
async fn a_new_password_signs_other_devices_out() {
    let line = Line::new().await;
    let other = sign_in(&line.app, CREW, PASSWORD, HOME).await.expect(201);
    changes_password(&line.crew, "wrong", NEW_PASSWORD).await.problem(401, "WRONG_PASSWORD");
    let weak = changes_password(&line.crew, PASSWORD, "passwordpassword").await;
    assert_eq!(texts(&weak.problem(422, "INVALID")["errors"], "pointer"), ["#/new_password"]);

    assert_eq!(changes_password(&line.crew, PASSWORD, NEW_PASSWORD).await.status, 204);

    me(&line.app, &other).await.problem(401, "SESSION_ENDED");
    line.crew.asks(Method::GET, "/v1/me", None).await.expect(200);
    sign_in(&line.app, CREW, NEW_PASSWORD, HOME).await.expect(201);
}

#[actix_web::test]
async fn who_forgot_the_password_gets_a_code_from_an_administrator() {
    let line = Line::new().await;
    let path = format!("/v1/users/{}/password-resets", line.crew.user);
    line.qa.asks(Method::POST, &path, Some(json!({}))).await.problem(403, "FORBIDDEN");
    let made = line.admin.asks(Method::POST, &path, Some(json!({}))).await.expect(201);
    let reset = |code: Value| {
        let body = json!({ "code": code, "new_password": NEW_PASSWORD });
        let app = Rc::clone(&line.app);
        async move { app.call(TestRequest::post().uri("/v1/password-resets").set_json(body)).await }
    };
    reset(json!("7K2QD-0V9XA-M3HTE-R5WBN")).await.problem(401, "RESET_CODE_REFUSED");

    let typed = made["code"].as_str().unwrap().to_lowercase().replace('-', " ");
    assert_eq!(reset(json!(typed)).await.status, 204);

    reset(made["code"].clone()).await.problem(401, "RESET_CODE_REFUSED");
    sign_in(&line.app, CREW, NEW_PASSWORD, HOME).await.expect(201);
    sign_in(&line.app, CREW, PASSWORD, HOME).await.problem(401, "WRONG_CREDENTIALS");
}

#[actix_web::test]
async fn a_reset_code_is_good_for_a_day_and_the_last_one_alone() {
    let line = Line::new().await;
    let path = format!("/v1/users/{}/password-resets", line.crew.user);
    let code = || async {
        line.admin.asks(Method::POST, &path, Some(json!({}))).await.expect(201)["code"].clone()
    };
    let (earlier, later) = (code().await, code().await);
    let reset = |code: &Value| {
        let body = json!({ "code": code, "new_password": NEW_PASSWORD });
        TestRequest::post().uri("/v1/password-resets").set_json(body)
    };
    line.app.call(reset(&earlier)).await.problem(401, "RESET_CODE_REFUSED");
    line.waits(TimeDelta::hours(24));
    line.app.call(reset(&later)).await.problem(401, "RESET_CODE_REFUSED");
}

#[actix_web::test]
async fn who_is_shut_out_is_out_at_once() {
    let line = Line::new().await;
    line.crew.asks(Method::GET, "/v1/me", None).await.expect(200);
    let path = format!("/v1/users/{}/status", line.crew.user);
    let out = Some(json!({ "disabled": true }));
    assert_eq!(line.admin.asks(Method::PUT, &path, out).await.status, 204);

    line.crew.asks(Method::GET, "/v1/me", None).await.problem(401, "SESSION_ENDED");
    sign_in(&line.app, CREW, PASSWORD, HOME).await.problem(401, "WRONG_CREDENTIALS");

    let back = Some(json!({ "disabled": false }));
    assert_eq!(line.admin.asks(Method::PUT, &path, back).await.status, 204);
    line.waits(TimeDelta::seconds(2));
    sign_in(&line.app, CREW, PASSWORD, HOME).await.expect(201);
}

#[actix_web::test]
async fn another_key_signs_nobody_out_and_the_old_one_ends() {
    let line = Line::new().await;
    let before = sign_in(&line.app, CREW, PASSWORD, HOME).await.expect(201);
    let kid = |session: &Value| {
        session["access_token"].as_str().unwrap().split('.').next().unwrap().to_owned()
    };
    let keys = app::accounts::KeyCache::rotate(&line.app.database.application, line.app.now());
    assert_eq!(keys.await.unwrap(), 1);

    line.waits(TimeDelta::minutes(1));
    me(&line.app, &before).await.expect(200);
    let after = refresh(&line.app, &before["refresh_token"]).await.expect(200);
    assert_ne!(kid(&before), kid(&after));
    me(&line.app, &after).await.expect(200);
    me(&line.app, &before).await.expect(200);
    line.waits(TimeDelta::minutes(10));
    assert_eq!(me(&line.app, &before).await.status, 401);
}

#[actix_web::test]
async fn users_are_listed_page_by_page_for_the_administrator_alone() {
    let line = Line::new().await;
    line.qa.asks(Method::GET, "/v1/users", None).await.problem(403, "FORBIDDEN");
    let (mut emails, mut cursor) = (Vec::new(), String::new());
    loop {
        let path = format!("/v1/users?limit=4{cursor}");
        let page = line.admin.asks(Method::GET, &path, None).await.expect(200);
        emails.extend(texts(&page["items"], "email"));
        let Some(next) = page["next"].as_str() else { break };
        cursor = format!("&cursor={next}");
    }
    assert_eq!(emails.len(), 9, "{emails:?}");
    assert!(emails.is_sorted());
}

#[actix_web::test]
async fn a_member_leaves_and_the_project_does_not_exist_for_them_any_more() {
    let line = Line::with_joints(1).await;
    line.crew.gets("/joints").await.expect(200);
    let path = line.admin.path(&format!("/members/{}", line.crew.user));
    let without = line.admin.asks(Method::DELETE, &path, None).await;
    without.problem(428, "IF_MATCH_REQUIRED");

    let bearer = format!("Bearer {}", line.admin.token().await);
    let request = TestRequest::delete().uri(&path).insert_header(("if-match", "\"v1\""));
    let gone = line.app.call(request.insert_header(("authorization", bearer))).await;
    assert_eq!(gone.status, 204, "{:#}", gone.body);

    line.crew.gets("/joints").await.problem(404, "NOT_FOUND");
}
