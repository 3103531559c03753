//! The published description, and answers outside it.

use actix_web::{http::Method, test::TestRequest};
use expect_test::expect_file;
use harness::TestApp;

#[test]
fn the_published_description_is_what_the_handlers_say() {
    expect_file!["../../api-spec/openapi.json"].assert_eq(&api::openapi_json());
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
