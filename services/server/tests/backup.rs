//! A backup under load, and its restoration into an empty cluster.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

use std::{
    cell::RefCell,
    fs,
    os::unix::fs::PermissionsExt,
    path::Path,
    process::{Command, Output},
};

use app::seal::seal;
use harness::{Line, fact::everything};
use serde_json::Value;
use sqlx::{Connection, PgConnection};

const PROGRAM: &str = env!("CARGO_BIN_EXE_jointward");

/// Clients that record at once.
const CLIENTS: u32 = 4;

fn jointward(args: &[&str], database: Option<&str>) -> Output {
    let mut program = Command::new(PROGRAM);
    program.args(args).env_remove("DATABASE_URL").env_remove("JOINTWARD_SEAL_KEY");
    if let Some(url) = database {
        program.env("DATABASE_URL", url);
    }
    program.output().unwrap()
}

fn said(output: &Output) -> String {
    let (out, err) = (&output.stdout, &output.stderr);
    format!("{}{}", String::from_utf8_lossy(out), String::from_utf8_lossy(err))
}

/// Records everything on joint after joint, as long as the backup runs and at least so many.
async fn records(
    line: &Line,
    client: u32,
    acknowledged: &RefCell<Vec<u32>>,
    goes_on: &RefCell<bool>,
) {
    let mut joint = client;
    while *goes_on.borrow() {
        line.records(&format!("J-{}", joint + 1), &everything()).await;
        acknowledged.borrow_mut().push(joint + 1);
        joint += CLIENTS;
        assert!(joint < 4000, "the backup never ends");
    }
}

#[actix_web::test]
async fn a_backup_under_load_holds_all_that_was_acknowledged_and_is_restored() {
    let line = Line::with_joints(4000).await;
    line.records("J-4000", &everything()).await;
    seal(&line.app.worker, line.project).await.unwrap();
    let database = line.app.database.url.clone();
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("backup.dump");
    let path = file.to_str().unwrap().to_owned();

    let (acknowledged, goes_on) = (RefCell::new(Vec::new()), RefCell::new(true));
    let backup = async {
        while acknowledged.borrow().len() < 40 {
            tokio::task::yield_now().await;
        }
        let before: Vec<u32> = acknowledged.borrow().clone();
        let mut program = tokio::process::Command::new(PROGRAM);
        program.args(["backup", "--to", &path]).env("DATABASE_URL", &database);
        let ended = program.output().await.unwrap();
        assert!(ended.status.success(), "{}", said(&ended));
        *goes_on.borrow_mut() = false;
        before
    };
    let client = |number| records(&line, number, &acknowledged, &goes_on);
    let (before, ..) = tokio::join!(backup, client(0), client(1), client(2), client(3));
    let after = acknowledged.borrow().len();
    assert!(after > before.len(), "nobody recorded while the backup ran");
    let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
    let manifest = folder.path().join("backup.dump.manifest.json");
    assert_eq!((mode(&file), mode(&manifest)), (0o600, 0o600));
    let told: Value = serde_json::from_slice(&fs::read(&manifest).unwrap()).unwrap();
    let north = &told["projects"][0];
    assert_eq!((&north["code"], &north["checkpoint"]["number"]), (&"NORTH".into(), &1.into()));

    let data = folder.path().join("data");
    let data_dir = data.to_str().unwrap();
    let restored = jointward(&["restore", "--from", &path, "--data-dir", data_dir], None);
    assert!(restored.status.success(), "{}", said(&restored));
    let printed = said(&restored);
    assert!(printed.contains("everything matches"), "{printed}");
    assert!(printed.contains("1 checkpoint"), "{printed}");

    let cluster = cluster::Cluster::start(&cluster::Options::new(data.join("cluster"))).unwrap();
    let mut conn = PgConnection::connect(&cluster.url("jointward")).await.unwrap();
    for joint in before.iter().chain([&4000]) {
        let count = "SELECT count(*) FROM facts f JOIN joints j ON j.id = f.joint_id
                      WHERE j.joint_number = $1";
        let count = sqlx::query_scalar(count).bind(format!("J-{joint}"));
        let count: i64 = count.fetch_one(&mut conn).await.unwrap();
        assert_eq!(count, 7, "J-{joint} was acknowledged before the backup began");
    }
    let facts: i64 =
        sqlx::query_scalar("SELECT count(*) FROM facts").fetch_one(&mut conn).await.unwrap();
    assert_eq!(north["facts"], facts, "the manifest says what the dump holds");
    // The walls are there again.
    let refused = sqlx::query("DELETE FROM facts").execute(&mut conn).await.unwrap_err();
    assert!(refused.to_string().contains("facts"), "{refused}");
    let policies: i64 =
        sqlx::query_scalar("SELECT count(*) FROM pg_policies WHERE schemaname = 'public'")
            .fetch_one(&mut conn)
            .await
            .unwrap();
    let expected =
        line.app.count("SELECT count(*) FROM pg_policies WHERE schemaname = 'public'").await;
    assert_eq!(policies, expected);
    drop(conn);
    // Beside the process that runs the private PostgreSQL, as a server does.
    let beside = jointward(&["verify", "--project", "NORTH", "--data-dir", data_dir], None);
    assert!(beside.status.success(), "{}", said(&beside));
    let second = folder.path().join("second.dump");
    let to = second.to_str().unwrap();
    let beside = jointward(&["backup", "--to", to, "--data-dir", data_dir], None);
    assert!(beside.status.success() && second.exists(), "{}", said(&beside));
    cluster.stop().unwrap();
    println!("{} joints acknowledged before the backup, {after} at its end", before.len());

    let again = jointward(&["restore", "--from", &path, "--data-dir", data_dir], None);
    assert!(!again.status.success() && said(&again).contains("not empty"), "{}", said(&again));
    let other = jointward(&["backup", "--to", &path], Some(&database));
    assert!(!other.status.success() && said(&other).contains("there already"), "{}", said(&other));
    let mut bytes = fs::read(&file).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle] ^= 1;
    fs::write(&file, bytes).unwrap();
    let fresh = folder.path().join("fresh");
    let fresh = fresh.to_str().unwrap();
    let suffered = jointward(&["restore", "--from", &path, "--data-dir", fresh], None);
    assert!(!suffered.status.success() && said(&suffered).contains("hash"), "{}", said(&suffered));
    assert!(!Path::new(fresh).exists(), "nothing is begun with a file that has suffered");
}

/// A copy on the command line, checked without a database by its key from elsewhere.
#[actix_web::test]
async fn a_project_is_exported_and_verified_on_the_command_line() {
    let line = Line::with_ready_joint().await;
    let url = line.app.database.url.clone();
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let (key, copy, public) = (at("seal.key"), at("copy"), at("public.pem"));
    let without = jointward(&["export", "--project", "NORTH", "--to", &copy], Some(&url));
    assert!(!without.status.success() && said(&without).contains("--seal-key"));
    let made = jointward(&["seal-key", "--seal-key", &key], Some(&url));
    assert!(made.status.success(), "{}", said(&made));
    let printed = said(&made);
    let pem =
        &printed[printed.find("-----BEGIN").unwrap()..printed.find("Its fingerprint").unwrap()];
    assert!(!printed.contains("PRIVATE"));
    fs::write(&public, pem).unwrap();
    let export = ["export", "--project", "NORTH", "--to", &copy, "--seal-key", &key];
    let exported = jointward(&export, Some(&url));
    assert!(exported.status.success(), "{}", said(&exported));
    let checked = jointward(&["verify", "--bundle", &copy, "--key", &public], None);
    assert!(checked.status.success(), "{}", said(&checked));
    assert!(said(&checked).contains("1 joints with 7 records"), "{}", said(&checked));
    fs::write(format!("{copy}/people.jsonl"), "").unwrap();
    let checked = jointward(&["verify", "--bundle", &copy, "--key", &public], None);
    assert!(!checked.status.success() && said(&checked).contains("people.jsonl"));
    let noted = "SELECT count(*) FROM read_audit WHERE what = 'export' AND user_id IS NULL";
    assert_eq!(line.app.count(noted).await, 1);
    let config = jointward(&["config", "--seal-key", &key], Some(&url));
    let fingerprint = printed.lines().last().unwrap().rsplit(' ').next().unwrap();
    assert!(said(&config).contains(fingerprint), "{}", said(&config));
    assert!(!said(&config).contains("PRIVATE"));
}
