//! What every answer carries, whoever asks for what.

use actix_web::{http::Method, test::TestRequest};
use harness::{Line, TestApp};
use serde_json::json;

#[actix_web::test]
async fn every_answer_carries_the_headers_of_one_who_serves_data() {
    let app = TestApp::new().await;
    for path in ["/livez", "/openapi.json", "/v1/nothing", "/v1/me"] {
        let answer = app.call(TestRequest::get().uri(path)).await;
        for (name, value) in [
            ("x-content-type-options", "nosniff"),
            ("referrer-policy", "no-referrer"),
            ("content-security-policy", "default-src 'none'; frame-ancestors 'none'"),
        ] {
            assert_eq!(answer.header(name), value, "{path}");
        }
        assert!(!answer.header("x-request-id").is_empty(), "{path}");
        assert_eq!(answer.header("access-control-allow-origin"), "", "{path}");
    }
}

#[actix_web::test]
async fn other_origins_get_no_leave_to_read() {
    let app = TestApp::new().await;
    for origin in ["https://evil.example", "null", "http://127.0.0.1.evil.example"] {
        let request = TestRequest::get().uri("/livez").insert_header(("origin", origin));
        assert_eq!(app.call(request).await.header("access-control-allow-origin"), "");
        let preflight = TestRequest::with_uri("/v1/sessions")
            .method(Method::OPTIONS)
            .insert_header(("origin", origin))
            .insert_header(("access-control-request-method", "POST"));
        let answer = app.call(preflight).await;
        assert_eq!(answer.header("access-control-allow-origin"), "");
        assert_eq!(answer.status, 405);
    }
}

#[actix_web::test]
async fn what_is_large_is_compressed_and_what_holds_a_secret_is_not() {
    let line = Line::with_joints(1).await;
    let request =
        TestRequest::get().uri("/openapi.json").insert_header(("accept-encoding", "gzip"));
    assert_eq!(line.app.call(request).await.header("content-encoding"), "gzip");
    let who = json!({ "email": line.qa.email, "password": harness::actor::PASSWORD });
    let request = TestRequest::post().uri("/v1/sessions").set_json(who);
    let answer = line.app.call(request.insert_header(("accept-encoding", "gzip"))).await;
    assert_ne!(answer.header("content-encoding"), "gzip");
}

#[actix_web::test]
async fn a_repeated_parameter_is_refused() {
    let line = Line::new().await;
    line.qa.gets("/joints?limit=5&limit=6").await.problem(400, "INVALID_PARAMETER");
    line.qa.gets("/joints?lmit=5").await.problem(400, "INVALID_PARAMETER");
}

#[actix_web::test]
async fn the_description_for_people_needs_no_network() {
    let app = TestApp::new().await;
    let page = app.call(TestRequest::get().uri("/docs/")).await;
    assert_eq!(page.status, 200);
    let policy = page.header("content-security-policy");
    assert!(policy.starts_with("default-src 'self'"), "{policy}");
    assert_eq!(app.call(TestRequest::get().uri("/docs/swagger-ui-bundle.js")).await.status, 200);
}

#[actix_web::test]
async fn a_request_refused_half_way_gives_its_connection_back() {
    let line = Line::new().await;
    // Refused for its path while the database is asked who this is; more often than there are
    // connections.
    for _ in 0..40 {
        let refused = line.qa.asks(Method::DELETE, "/v1/sessions/nothing", None).await;
        refused.problem(404, "NOT_FOUND");
    }
    line.qa.gets("").await.expect(200);
}

#[actix_web::test]
async fn a_password_is_not_said_back() {
    let line = Line::new().await;
    for password in [json!("tooshort"), json!(8_711_004), json!("0".repeat(200))] {
        let body = json!({ "email": "new@example.org", "name": "New", "password": password });
        let refused = line.admin.asks(Method::POST, "/v1/users", Some(body)).await;
        let problem = refused.problem(422, "INVALID").to_string();
        let secret = password.as_str().map_or_else(|| password.to_string(), str::to_owned);
        assert!(!problem.contains(&secret), "{problem}");
    }
}
