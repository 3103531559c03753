//! The second wall: what the application's own roles may do to the database.

use harness::{Line, database::Database};
use sqlx::{Connection, PgPool, Row};
use store::{Role, Scope};

/// Tables that belong to no project, each for its reason.
const GLOBAL: &[&str] = &[
    "_sqlx_migrations",  // the schema itself
    "users",             // people work in several projects
    "sessions",          // of people
    "setup_codes",       // before there is anybody
    "token_keys",        // of the server
    "sign_in_throttles", // of people who may not exist
    "known_addresses",   // of people
    "password_resets",   // of people
    "job_effects",       // of the queue
    "cron_runs",         // of the queue
];

async fn names(pool: &PgPool, query: &'static str) -> Vec<String> {
    let rows = sqlx::query(query).fetch_all(pool).await.unwrap();
    rows.iter().map(|row| row.get::<String, _>(0)).collect()
}

async fn database() -> Database {
    harness::fresh_database().await
}

#[tokio::test]
async fn every_table_of_a_project_has_its_policy() {
    let database = database().await;
    let unprotected = "
        SELECT c.relname::text FROM pg_class c
         WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p')
           AND NOT (c.relrowsecurity AND c.relforcerowsecurity
                    AND EXISTS (SELECT FROM pg_policy p WHERE p.polrelid = c.oid))
         ORDER BY 1";
    let mut expected: Vec<String> = GLOBAL.iter().map(ToString::to_string).collect();
    expected.sort();
    assert_eq!(names(&database.pool, unprotected).await, expected);
}

#[tokio::test]
async fn the_project_leads_every_key_of_a_table_of_a_project() {
    let database = database().await;
    // `projects` is the project; runs of the queue may belong to none.
    let wrong = "
        SELECT c.relname || ': ' || i.relname
          FROM pg_index x
          JOIN pg_class c ON c.oid = x.indrelid
          JOIN pg_class i ON i.oid = x.indexrelid
          JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum = x.indkey[0]
         WHERE c.relnamespace = 'public'::regnamespace AND c.relrowsecurity AND x.indisunique
           AND a.attname <> 'project_id' AND c.relname NOT IN ('projects', 'job_runs')
         ORDER BY 1";
    assert_eq!(names(&database.pool, wrong).await, Vec::<String>::new());
    let types = "
        SELECT c.relname || '.' || a.attname FROM pg_attribute a
          JOIN pg_class c ON c.oid = a.attrelid
         WHERE c.relnamespace = 'public'::regnamespace AND c.relkind = 'r'
           AND (a.attname = 'project_id' AND a.atttypid <> 'uuid'::regtype
                OR a.atttypid IN ('timestamp'::regtype, 'money'::regtype)
                OR a.attname = 'project_id' AND NOT a.attnotnull AND c.relname <> 'job_runs')";
    assert_eq!(names(&database.pool, types).await, Vec::<String>::new());
}

/// Before its policy has let a row through, PostgreSQL compares it only by functions that are marked
/// as saying nothing of it (documentation of PostgreSQL, "Rules and Privileges"). A column of another
/// type, such as `numeric`, is in vain behind the project in an index: every row is read.
#[tokio::test]
async fn every_index_of_a_table_of_a_project_can_be_entered_behind_the_policy() {
    let database = database().await;
    let leaky = "
        SELECT DISTINCT i.relname || ': ' || o.opcintype::regtype
          FROM pg_index x
          JOIN pg_class c ON c.oid = x.indrelid
          JOIN pg_class i ON i.oid = x.indexrelid
          JOIN pg_am m ON m.oid = i.relam AND m.amname = 'btree'
         CROSS JOIN unnest(x.indclass::oid[]) AS k (opclass)
          JOIN pg_opclass o ON o.oid = k.opclass
          JOIN pg_amop a ON a.amopfamily = o.opcfamily
           AND a.amoplefttype = o.opcintype AND a.amoprighttype = o.opcintype
          JOIN pg_operator p ON p.oid = a.amopopr
          JOIN pg_proc f ON f.oid = p.oprcode
         WHERE c.relnamespace = 'public'::regnamespace AND c.relrowsecurity
           AND NOT f.proleakproof
         ORDER BY 1";
    assert_eq!(names(&database.pool, leaky).await, Vec::<String>::new());
}

#[tokio::test]
async fn no_role_owns_anything_or_passes_the_policies() {
    let database = database().await;
    let strong = "
        SELECT rolname::text FROM pg_roles
         WHERE rolname LIKE 'jointward\\_%'
           AND (rolsuper OR rolbypassrls OR rolcreaterole OR rolcreatedb OR rolcanlogin)";
    assert_eq!(names(&database.pool, strong).await, Vec::<String>::new());
    let owned = "
        SELECT c.relname::text FROM pg_class c
         WHERE pg_get_userbyid(c.relowner) LIKE 'jointward\\_%'";
    assert_eq!(names(&database.pool, owned).await, Vec::<String>::new());
}

#[tokio::test]
async fn what_each_role_may_do_is_as_it_was_decided() {
    let database = database().await;
    let granted = "
        SELECT table_name || ' ' || grantee || ' '
               || string_agg(privilege_type, ', ' ORDER BY privilege_type)
          FROM information_schema.table_privileges
         WHERE table_schema = 'public' AND grantee LIKE 'jointward\\_%'
         GROUP BY table_name, grantee ORDER BY table_name, grantee";
    let text = names(&database.pool, granted).await.join("\n") + "\n";
    expect_test::expect_file!["../../api-spec/database-privileges.txt"].assert_eq(&text);
}

/// Runs `statement` as `role`, in the project or in none; the SQLSTATE of its refusal.
async fn refused(
    database: &Database,
    role: Role,
    scope: Scope,
    statement: &'static str,
) -> Option<String> {
    let pool = store::connect(&database.url, role, 1).await.unwrap();
    let mut tx = store::begin(&pool, scope).await.unwrap();
    let done = sqlx::raw_sql(statement).execute(&mut *tx).await;
    let error = done.err()?;
    error.as_database_error().and_then(|it| it.code().map(String::from))
}

const TENANT: [&str; 26] = [
    "SELECT FROM joints",
    "SELECT FROM facts",
    "SELECT FROM setup_items",
    "SELECT FROM signatures",
    "SELECT FROM backfill_releases",
    "SELECT FROM nonconformances",
    "SELECT FROM nonconformance_entries",
    "SELECT FROM concessions",
    "SELECT FROM concession_approvals",
    "SELECT FROM warnings",
    "SELECT FROM imports",
    "SELECT FROM lot_uses",
    "SELECT FROM consumption_due",
    "SELECT FROM deliveries",
    "SELECT FROM stock_movements",
    "SELECT FROM stock_balances",
    "SELECT FROM stock_counts",
    "SELECT FROM stock_count_lines",
    "SELECT FROM feed",
    "SELECT FROM warning_history",
    "SELECT FROM ambient_readings",
    "SELECT FROM ambient_outlooks",
    "SELECT FROM checkpoints",
    "SELECT FROM checkpoint_leaves",
    "SELECT FROM read_audit",
    "SELECT FROM exports",
];

#[actix_web::test]
async fn without_a_project_no_table_of_a_project_can_be_read() {
    let line = Line::with_ready_joint().await;
    for statement in TENANT {
        let code =
            refused(&line.app.database, Role::Application, Scope::default(), statement).await;
        assert_eq!(code.as_deref(), Some("42704"), "{statement}: the setting is unknown");
        let code = refused(&line.app.database, Role::Reader, Scope::default(), statement).await;
        assert_eq!(code.as_deref(), Some("42704"), "{statement}");
    }
}

#[actix_web::test]
async fn in_another_project_there_is_nothing() {
    let line = Line::with_ready_joint().await;
    let other = sqlx::query_scalar("SELECT id FROM projects WHERE code = 'SOUTH'");
    let other: uuid::Uuid = other.fetch_one(&line.app.database.pool).await.unwrap();
    let scope = Scope { project: Some(domain::ids::ProjectId(other)), user: None };
    let pool = &line.app.database.application;
    let mut tx = store::begin(pool, scope).await.unwrap();
    for table in ["SELECT count(*) FROM joints", "SELECT count(*) FROM facts"] {
        let found: i64 = sqlx::query_scalar(table).fetch_one(&mut *tx).await.unwrap();
        assert_eq!(found, 0, "{table}");
    }
    let changed = sqlx::query("UPDATE joints SET stage = 'released'").execute(&mut *tx).await;
    assert_eq!(changed.unwrap().rows_affected(), 0);
    let mine = line.project.0;
    let moved = sqlx::query(
        "INSERT INTO warnings (project_id, id, kind, subject, severity, detail,
                                                   raised_at, updated_at)
                             VALUES ($1, gen_random_uuid(), 'a', 'b', 'notice', 'c', now(), now())",
    )
    .bind(mine);
    let error = moved.execute(&mut *tx).await.unwrap_err();
    let code = error.as_database_error().and_then(|it| it.code().map(String::from));
    assert_eq!(code.as_deref(), Some("42501"), "{error}");
}

#[actix_web::test]
async fn no_role_changes_history() {
    let line = Line::with_ready_joint().await;
    let scope = Scope { project: Some(line.project), user: None };
    for role in [Role::Application, Role::Worker, Role::Reader] {
        for statement in [
            "UPDATE facts SET late = true",
            "DELETE FROM facts",
            "TRUNCATE facts",
            "ALTER TABLE facts DISABLE TRIGGER ALL",
            "DROP TRIGGER facts_refuse_change ON facts",
            "UPDATE signatures SET meaning = 'another'",
            "DELETE FROM signatures",
            "DELETE FROM setup_history",
            "UPDATE nonconformance_entries SET text = 'another'",
            "DELETE FROM nonconformance_entries",
            "TRUNCATE nonconformance_entries",
            "UPDATE concessions SET waived = '[]'",
            "DELETE FROM concessions",
            "TRUNCATE concessions CASCADE",
            "UPDATE concession_approvals SET signer_role = 'qa_manager'",
            "DELETE FROM concession_approvals",
            "TRUNCATE concession_approvals",
            "UPDATE lot_uses SET lot = 'another'",
            "DELETE FROM lot_uses",
            "TRUNCATE lot_uses",
            "DELETE FROM backfill_releases",
            "UPDATE feed SET topic = 'another'",
            "INSERT INTO feed VALUES (gen_random_uuid(), 1, 'a', 'b', '{}', now())",
            "UPDATE feed_heads SET seq = 1",
            "TRUNCATE feed",
            "UPDATE feed_pending SET once = true",
            "DELETE FROM feed_pending",
            "UPDATE warning_history SET detail = 'another'",
            "DELETE FROM warning_history",
            "UPDATE ambient_readings SET air_c = 20",
            "DELETE FROM ambient_readings",
            "TRUNCATE ambient_readings",
            "DELETE FROM ambient_outlooks",
            "UPDATE checkpoints SET day = day + 1",
            "DELETE FROM checkpoints",
            "TRUNCATE checkpoints CASCADE",
            "UPDATE checkpoint_leaves SET chain_seq = 0",
            "DELETE FROM checkpoint_leaves",
            "UPDATE read_audit SET rows = 0",
            "DELETE FROM read_audit",
            "TRUNCATE read_audit",
            "ALTER TABLE facts DISABLE ROW LEVEL SECURITY",
            "UPDATE stock_movements SET quantity = 1",
            "DELETE FROM stock_movements",
            "TRUNCATE stock_movements",
            "ALTER TABLE stock_movements DISABLE TRIGGER ALL",
            "INSERT INTO stock_balances DEFAULT VALUES",
            "UPDATE stock_balances SET quantity = 1",
            "DELETE FROM stock_balances",
            "UPDATE stock_count_lines SET counted = 1",
            "DELETE FROM stock_counts",
            "CREATE TABLE mine (id int)",
        ] {
            let code = refused(&line.app.database, role, scope, statement).await;
            assert_eq!(code.as_deref(), Some("42501"), "{statement} as {role:?}");
        }
    }
}

#[actix_web::test]
async fn the_worker_and_the_reader_see_no_secrets() {
    let line = Line::new().await;
    let scope = Scope { project: Some(line.project), user: None };
    for (role, statement) in [
        (Role::Worker, "SELECT FROM token_keys"),
        (Role::Worker, "SELECT FROM users"),
        (Role::Worker, "INSERT INTO facts DEFAULT VALUES"),
        (Role::Worker, "INSERT INTO backfill_releases DEFAULT VALUES"),
        (Role::Reader, "SELECT FROM token_keys"),
        (Role::Reader, "SELECT FROM users"),
        (Role::Reader, "SELECT FROM sessions"),
        (Role::Reader, "SELECT FROM idempotency_keys"),
        (Role::Reader, "SELECT FROM webhooks"),
        (Role::Worker, "DELETE FROM webhooks"),
        (Role::Application, "INSERT INTO checkpoints DEFAULT VALUES"),
        (Role::Application, "INSERT INTO checkpoint_leaves DEFAULT VALUES"),
        (Role::Reader, "SELECT FROM export_parts"),
        (Role::Reader, "SELECT printed_name(gen_random_uuid())"),
        (Role::Reader, "SELECT mail_address(gen_random_uuid())"),
        (Role::Reader, "SELECT number_feed(gen_random_uuid())"),
        (Role::Worker, "SELECT body FROM feed_pending"),
        (Role::Application, "SELECT mail_address(gen_random_uuid())"),
        (Role::Reader, "INSERT INTO warnings DEFAULT VALUES"),
    ] {
        let code = refused(&line.app.database, role, scope, statement).await;
        assert_eq!(code.as_deref(), Some("42501"), "{statement} as {role:?}");
    }
}

#[actix_web::test]
async fn a_setting_does_not_outlive_its_transaction() {
    let line = Line::with_joints(1).await;
    let pool = store::connect(&line.app.database.url, Role::Application, 1).await.unwrap();
    let scope = Scope { project: Some(line.project), user: None };
    let tx = store::begin(&pool, scope).await.unwrap();
    store::commit(tx).await.unwrap();
    let error = sqlx::query("SELECT FROM joints").execute(&pool).await.unwrap_err();
    // What was set once is empty afterwards, and an empty text is no UUID.
    let code = error.as_database_error().and_then(|it| it.code().map(String::from));
    assert_eq!(code.as_deref(), Some("22P02"), "{error}");
    let mut conn = sqlx::PgConnection::connect(&line.app.database.url).await.unwrap();
    conn.ping().await.unwrap();
}
