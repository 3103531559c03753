//! Nobody sees or changes what is not theirs: every published operation, whoever asks.

use actix_web::{http::Method, test::TestRequest};
use domain::access::{Permission, allows};
use harness::Line;
use serde_json::{Value, json};

/// Operations that anybody may ask for.
const PUBLIC: &[&str] = &[
    "get_livez",
    "get_readyz",
    "get_openapi",
    "get_problem",
    "create_session",
    "refresh_session",
    "create_administrator",
    "reset_password",
    "calculate_wrap_takeoff",
    "calculate_overlap",
    "calculate_system_takeoff",
    "list_pipe_sizes",
    "calculate_holiday_voltage",
    "list_voltage_methods",
    "calculate_dew_point",
    "calculate_conditions",
    "calculate_workable_hours",
    "calculate_run_out",
    "calculate_reorder_point",
    "calculate_control_limits",
    "calculate_proportion_interval",
    "calculate_applied_cost",
];

/// Operations outside a project, for whoever is signed in.
const SIGNED_IN: &[&str] = &[
    "get_me",
    "list_sessions",
    "end_session",
    "change_password",
    "list_users",
    "create_user",
    "set_user_status",
    "create_password_reset",
    "list_projects",
    "create_project",
];

/// What an operation inside a project takes; one that only reads need not be named.
fn permission(operation: &str) -> Permission {
    match operation {
        "record_event"
        | "record_event_batch"
        | "record_reading"
        | "record_reading_batch"
        | "upload_readings"
        | "record_ambient_outlook"
        | "upload_ambient_outlook" => Permission::RecordFacts,
        "create_signing_challenge" | "create_backfill_release" => Permission::ReleaseForBackfill,
        "propose_concession" | "approve_concession" => Permission::SignConcessions,
        "create_nonconformance" | "create_nonconformance_entry" => Permission::RaiseNonconformances,
        "record_disposition" => Permission::ManageNonconformances,
        "create_import" => Permission::ImportRegisters,
        "run_job" => Permission::RunJobs,
        "create_export" | "get_export" | "download_export" => Permission::ExportProject,
        "list_read_audit" | "list_deeds" => Permission::ReadAudit,
        "put_member" | "remove_member" => Permission::ManageMembers,
        "put_line_pipe" | "put_spread" | "put_crew" | "put_section" | "put_coating_system"
        | "put_calendar" | "put_plan" | "upload_plan" => Permission::ManageLine,
        "put_material" | "create_material" | "put_lot" | "create_lot" | "put_location"
        | "create_location" | "create_delivery" | "put_delivery" | "approve_count" => {
            Permission::ManageMaterials
        }
        "create_movement" | "receive_delivery_note" | "create_count" => Permission::MoveStock,
        "quarantine_lot" => Permission::HoldLots,
        "put_inspection_plan" | "put_person" | "put_detector" | "lift_lot" | "extend_lot" => {
            Permission::ManageQuality
        }
        // A scan is sent, but nothing comes of it; what somebody is written about is their own.
        "parse_scan" | "stream_changes" | "put_notifications" => Permission::ReadProject,
        "list_webhooks"
        | "create_webhook"
        | "put_webhook"
        | "delete_webhook"
        | "rotate_webhook_secret"
        | "list_webhook_deliveries"
        | "resend_webhook_delivery" => Permission::ManageWebhooks,
        "acknowledge_warning" => Permission::AcknowledgeWarnings,
        reads if reads.starts_with("get_") || reads.starts_with("list_") => Permission::ReadProject,
        unknown => panic!("say in this table what {unknown} takes"),
    }
}

/// Another permission that does as well; which of the two is needed depends on the body.
fn or(operation: &str) -> Option<Permission> {
    match operation {
        "record_reading" | "record_reading_batch" | "upload_readings" => {
            Some(Permission::MoveStock)
        }
        "record_ambient_outlook" | "upload_ambient_outlook" => Some(Permission::ManageLine),
        "create_signing_challenge" => Some(Permission::SignConcessions),
        _ => None,
    }
}

struct Operation {
    id: String,
    method: Method,
    path: String,
}

/// Every operation of the published description, its path filled in.
fn operations() -> Vec<Operation> {
    let document: Value = serde_json::from_str(&api::openapi_json()).unwrap();
    let mut found = Vec::new();
    for (template, methods) in document["paths"].as_object().unwrap() {
        for (method, operation) in methods.as_object().unwrap() {
            let Some(id) = operation["operationId"].as_str() else { continue };
            let method = method.to_uppercase().parse().unwrap();
            found.push(Operation { id: id.to_owned(), method, path: fill(template) });
        }
    }
    found
}

fn fill(template: &str) -> String {
    let segments = template.split('/').map(|segment| match segment {
        "{project}" => "NORTH",
        "{joint}" => "J-1",
        "{code}" | "{name}" => "X",
        id if id.starts_with('{') => "0192f0c1-2d3e-7a4b-8c5d-6e7f8091a2b3",
        plain => plain,
    });
    segments.collect::<Vec<_>>().join("/")
}

fn body(method: &Method) -> Option<Value> {
    (*method != Method::GET).then(|| json!({}))
}

fn is_in_project(operation: &Operation) -> bool {
    !PUBLIC.contains(&operation.id.as_str()) && !SIGNED_IN.contains(&operation.id.as_str())
}

#[test]
fn what_is_not_in_a_project_stands_in_a_list() {
    for operation in operations() {
        let inside = operation.path.starts_with("/v1/projects/NORTH");
        assert_eq!(is_in_project(&operation), inside, "{} {}", operation.id, operation.path);
    }
}

#[actix_web::test]
async fn nobody_is_told_to_sign_in() {
    let line = Line::with_joints(1).await;
    for Operation { id, method, path } in operations() {
        let request = || TestRequest::with_uri(&path).method(method.clone()).set_json(json!({}));
        let plain = line.app.call(request()).await;
        if PUBLIC.contains(&id.as_str()) {
            assert_ne!(plain.status, 401, "{id}");
            continue;
        }
        plain.problem(401, "SIGN_IN_REQUIRED");
        let forged = request().insert_header(("authorization", "Bearer a.b.c"));
        assert_eq!(line.app.call(forged).await.status, 401, "{id}");
    }
}

#[actix_web::test]
async fn to_members_of_other_projects_a_project_does_not_exist() {
    let line = Line::with_joints(1).await;
    for operation in operations().into_iter().filter(is_in_project) {
        let Operation { id, method, path } = operation;
        let by_id = path.replace("NORTH", &line.project.to_string());
        for path in [path, by_id] {
            let answer = line.stranger.asks(method.clone(), &path, body(&method)).await;
            assert_eq!(answer.status, 404, "{id}: {:#}", answer.body);
            let detail = answer.body["detail"].as_str().unwrap();
            assert!(detail.contains("project"), "{id}: {detail}");
        }
    }
}

#[actix_web::test]
async fn every_role_may_do_what_the_table_says_and_nothing_else() {
    let line = Line::with_joints(1).await;
    for operation in operations().into_iter().filter(is_in_project) {
        let Operation { id, method, path } = operation;
        let takes = permission(&id);
        for (role, person) in line.member_of_each_role() {
            let answer = person.asks(method.clone(), &path, body(&method)).await;
            let may = allows(role, takes) || or(&id).is_some_and(|or| allows(role, or));
            let name = role.name();
            assert_eq!(answer.status != 403, may, "{id} as {name}: {:#}", answer.body);
            assert_ne!(answer.status, 401, "{id} as {name}");
            assert!(answer.status < 500, "{id} as {name}: {:#}", answer.body);
            if !may {
                let detail = answer.body["detail"].as_str().unwrap();
                assert!(detail.contains(takes.name()), "{id} as {name}: {detail}");
            }
        }
    }
}

#[actix_web::test]
async fn only_the_administrator_of_the_server_creates_users_and_projects() {
    let line = Line::new().await;
    let user =
        json!({ "email": "a@example.org", "name": "A", "password": "a long walk to the sea" });
    let project = json!({ "code": "EAST", "name": "East", "time_zone": "UTC" });
    for (path, body) in [("/v1/users", user), ("/v1/projects", project)] {
        for person in [&line.qa, &line.coordinator, &line.stranger] {
            let answer = person.asks(Method::POST, path, Some(body.clone())).await;
            answer.problem(403, "FORBIDDEN");
        }
    }
}
