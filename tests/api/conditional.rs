//! Who has seen an answer is not sent it again.

use actix_web::test::TestRequest;
use harness::{Answer, Line, Person, TestApp, fact::damage_found};

async fn gets(app: &TestApp, person: &Person, path: &str, seen: &str, coding: &str) -> Answer {
    let request = TestRequest::get()
        .uri(path)
        .insert_header(("authorization", format!("Bearer {}", person.token().await)))
        .insert_header(("accept-encoding", coding));
    let request =
        if seen.is_empty() { request } else { request.insert_header(("if-none-match", seen)) };
    app.call(request).await
}

#[actix_web::test]
async fn a_joint_is_sent_again_only_after_a_fact() {
    let line = Line::with_joints(2).await;
    for (minute, path) in [(10, "/joints/J-1"), (20, "/joints"), (30, "/joints/J-1/events")] {
        let path = line.qa.path(path);
        let first = gets(&line.app, &line.qa, &path, "", "identity").await;
        let tag = first.header("etag").to_owned();
        assert!(tag.starts_with('"') && tag.ends_with('"'), "{path}: {tag}");
        let again = gets(&line.app, &line.qa, &path, &tag, "identity").await;
        assert_eq!((again.status, again.body.is_null()), (304, true), "{path}");
        for name in ["etag", "cache-control", "x-content-type-options"] {
            assert_eq!(again.header(name), first.header(name), "{path}: {name}");
        }
        assert_eq!(again.header("content-type"), "", "{path}");
        assert_eq!(first.header("cache-control"), "private, no-cache", "{path}");

        let others = gets(&line.app, &line.inspector, &path, "", "identity").await;
        assert_eq!(others.header("etag"), tag, "{path}: it is not the caller's");

        line.crew.records("J-1", &damage_found(minute)).await.expect(201);
        let changed = gets(&line.app, &line.qa, &path, &tag, "identity").await;
        assert_eq!(changed.status, 200, "{path}");
        assert_ne!(changed.header("etag"), tag, "{path}");
    }
}

#[actix_web::test]
async fn what_has_a_version_is_tagged_with_it() {
    let line = Line::new().await;
    let path = line.qa.path("/sections/S1");
    let first = gets(&line.app, &line.qa, &path, "", "identity").await;
    assert_eq!(first.header("etag"), format!("\"v{}\"", first.body["version"]));
    for seen in [first.header("etag"), "*", "\"other\", \"v1\"", "W/\"v1\""] {
        assert_eq!(gets(&line.app, &line.qa, &path, seen, "identity").await.status, 304, "{seen}");
    }
    assert_eq!(gets(&line.app, &line.qa, &path, "\"v2\"", "identity").await.status, 200);
}

#[actix_web::test]
async fn a_tag_holds_however_the_answer_is_packed() {
    let line = Line::with_joints(100).await;
    let path = line.qa.path("/joints?limit=100");
    let packed = gets(&line.app, &line.qa, &path, "", "gzip").await;
    assert_eq!(packed.header("content-encoding"), "gzip");
    let plain = gets(&line.app, &line.qa, &path, "", "identity").await;
    assert_eq!(packed.header("etag"), plain.header("etag"));
    let again = gets(&line.app, &line.qa, &path, packed.header("etag"), "gzip").await;
    assert_eq!((again.status, again.header("vary")), (304, packed.header("vary")));
    assert_eq!(again.header("content-encoding"), "");
}

#[actix_web::test]
async fn what_is_about_people_is_kept_by_nobody() {
    let line = Line::new().await;
    for path in ["/v1/me".to_owned(), line.admin.path("/members"), "/v1/users".to_owned()] {
        let first = gets(&line.app, &line.admin, &path, "", "identity").await;
        assert_eq!(first.header("cache-control"), "no-store", "{path}");
        let tag = first.header("etag");
        assert_eq!(gets(&line.app, &line.admin, &path, tag, "identity").await.status, 304);
    }
}

#[actix_web::test]
async fn a_refusal_and_a_write_are_never_short_cut() {
    let line = Line::with_joints(1).await;
    let request = TestRequest::get().uri("/v1/me").insert_header(("if-none-match", "*"));
    line.app.call(request).await.problem(401, "SIGN_IN_REQUIRED");
    let missing = gets(&line.app, &line.qa, &line.qa.path("/joints/J-9"), "*", "identity").await;
    missing.problem(404, "NOT_FOUND");
}
