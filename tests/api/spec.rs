//! The published description, and answers outside it.

use actix_web::{http::Method, test::TestRequest};
use expect_test::expect_file;
use harness::TestApp;

#[test]
fn the_published_description_is_what_the_handlers_say() {
    expect_file!["../../api-spec/openapi.json"].assert_eq(&api::openapi_json());
}

#[test]
fn the_printed_problems_are_those_that_are_answered() {
    expect_file!["../../api-spec/problems.md"].assert_eq(&api::problem_table());
}

#[actix_web::test]
async fn the_type_of_a_problem_can_be_read() {
    let app = TestApp::new().await;
    let problem = app.call(TestRequest::get().uri("/v1/me")).await.expect(401);
    let kind = problem["type"].as_str().unwrap();
    let read = app.call(TestRequest::get().uri(kind)).await.expect(200);
    assert_eq!((&read["code"], &read["status"]), (&problem["code"], &problem["status"]));
    app.call(TestRequest::get().uri("/problems/nothing")).await.problem(404, "NOT_FOUND");
}

#[actix_web::test]
async fn whatever_is_not_there_is_a_problem() {
    let app = TestApp::new().await;
    let unknown = ["/", "/v1", "/v1/nothing", "/v1/projects/P/nothing", "/v2/projects", "/a%20b"];
    for path in unknown {
        for method in [Method::GET, Method::POST, Method::PUT, Method::DELETE, Method::PATCH] {
            let request = TestRequest::with_uri(path).method(method);
            let problem = app.call(request).await.problem(404, "NOT_FOUND");
            assert_eq!(problem["instance"], path);
        }
    }
}
