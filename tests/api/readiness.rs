//! Whether the server should be sent requests.

use std::path::Path;

use actix_web::test::TestRequest;
use api::{Readiness, Settings};
use harness::{TestApp, app::Answer};
use serde_json::json;

async fn asks(app: &TestApp) -> Answer {
    app.call(TestRequest::get().uri("/readyz")).await
}

#[actix_web::test]
async fn a_server_in_order_is_ready() {
    let app = TestApp::new().await;
    let checks = json!([
        { "name": "database", "ok": true },
        { "name": "schema", "ok": true },
        { "name": "draining", "ok": true },
    ]);
    let answer = asks(&app).await.expect(200);
    assert_eq!(answer, json!({ "ready": true, "checks": checks }));
}

#[actix_web::test]
async fn a_server_that_stops_or_has_no_room_is_not() {
    let readiness = Readiness::with_data_in(Some(Path::new("/nowhere/at/all")));
    readiness.drain();
    let app = TestApp::with(Settings::default().with_readiness(readiness)).await;
    let answer = asks(&app).await.expect(503);
    let failed = answer["checks"].as_array().unwrap().iter().filter(|it| it["ok"] == false);
    assert_eq!(failed.map(|it| &it["name"]).collect::<Vec<_>>(), ["disk", "draining"]);
    assert_eq!(answer["ready"], false);
}

#[actix_web::test]
async fn a_schema_that_lacks_a_migration_is_not_served() {
    let app = TestApp::new().await;
    let forget = "DELETE FROM _sqlx_migrations
                   WHERE version = (SELECT max(version) FROM _sqlx_migrations)";
    sqlx::query(forget).execute(&app.database.pool).await.unwrap();
    assert_eq!(asks(&app).await.expect(503)["checks"][1], json!({ "name": "schema", "ok": false }));
}

#[actix_web::test]
async fn a_database_that_does_not_answer_makes_the_server_unready_within_seconds() {
    let app = TestApp::new().await;
    app.app.pool.close().await;
    let answer = asks(&app).await.expect(503);
    assert_eq!(answer["checks"][0], json!({ "name": "database", "ok": false }));
    app.call(TestRequest::get().uri("/livez")).await;
}
