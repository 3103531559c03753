//! Copies of a whole project: complete, checkable without the server, and noted.

mod tampering;

use std::{fs, path::Path, process::Command, sync::Arc};

use app::{
    export::{run, unpack, verify_bundle},
    seal::{Known, seal},
};
use chrono::TimeDelta;
use harness::{
    Line,
    fact::{damage_found, everything, repaired},
};
use serde_json::{Value, json};
use tampering::{Act, Forger};
use tempfile::TempDir;
use uuid::Uuid;

/// A line with records on three joints, sealed, and some that came after the checkpoint.
async fn sealed_line() -> Line {
    let line = Line::with_joints(4).await;
    line.makes_ready("J-1").await;
    line.records("J-2", &everything()).await;
    line.records("J-2", &[damage_found(90), repaired(100)]).await;
    line.records("J-3", &everything()[..4]).await;
    line.qa.releases("J-1").await.expect(201);
    seal(&line.app.worker, line.project).await.unwrap();
    line.waits(TimeDelta::days(1));
    line.records("J-4", &everything()[..2]).await;
    line
}

fn key_of(line: &Line) -> Known {
    let key = line.app.worker.sealer.as_ref().unwrap().key.public();
    Known { key: Some(key) }
}

/// Asks for a copy, lets the job make it, fetches and opens it.
async fn copy_of(line: &Line) -> (TempDir, Value) {
    let asked = line.client.posts("/exports", json!({})).await.expect(202);
    let id: Uuid = asked["id"].as_str().unwrap().parse().unwrap();
    run(&line.app.worker, line.project, id).await.unwrap();
    let fetched = line.client.gets(&format!("/exports/{id}/download")).await;
    assert_eq!((fetched.status, fetched.header("content-type")), (200, "application/x-tar"));
    let shown = line.client.gets(&format!("/exports/{id}")).await.expect(200);
    assert_eq!(shown["status"], "done");
    assert_eq!(shown["bytes"], fetched.bytes.len());
    let hash = hex::encode(domain::joints::chain::hash(&fetched.bytes));
    assert_eq!(shown["sha256"], hash);
    let dir = tempfile::tempdir().unwrap();
    unpack(&mut fetched.bytes.as_slice(), dir.path()).unwrap();
    (dir, shown)
}

fn lines(dir: &Path, name: &str) -> Vec<Value> {
    let text = fs::read_to_string(dir.join(name)).unwrap();
    text.lines().map(|it| serde_json::from_str(it).unwrap()).collect()
}

#[actix_web::test]
async fn a_copy_holds_everything_and_matches() {
    let line = sealed_line().await;
    let (dir, shown) = copy_of(&line).await;
    let report = verify_bundle(dir.path(), key_of(&line)).unwrap();
    assert_eq!(report.faults, []);
    assert_eq!((report.joints, report.facts, report.checkpoints), (4, 22, 1));

    // The very bytes of the database.
    let query = "SELECT record FROM facts ORDER BY joint_id, seq";
    let records: Vec<Vec<u8>> =
        sqlx::query_scalar(query).fetch_all(&line.app.database.pool).await.unwrap();
    let copied = fs::read(dir.path().join("facts.jsonl")).unwrap();
    assert_eq!(copied, [records.join(&b'\n'), b"\n".to_vec()].concat());

    let releases = lines(dir.path(), "releases.jsonl");
    assert_eq!(releases[0]["signature"]["printed_name"], "Name of qa");
    let count = |statement| line.app.count(statement);
    for (name, statement) in [
        (
            "setup.jsonl",
            "SELECT count(*) FROM setup_items WHERE project_id IN (SELECT id FROM projects WHERE code = 'NORTH')",
        ),
        (
            "setup-history.jsonl",
            "SELECT count(*) FROM setup_history WHERE project_id IN (SELECT id FROM projects WHERE code = 'NORTH')",
        ),
        ("nonconformances.jsonl", "SELECT count(*) FROM nonconformances"),
        ("stock-movements.jsonl", "SELECT count(*) FROM stock_movements"),
        ("checkpoints.jsonl", "SELECT count(*) FROM checkpoints"),
    ] {
        let expected = usize::try_from(count(statement).await).unwrap();
        assert_eq!(lines(dir.path(), name).len(), expected, "{name}");
    }
    let people = lines(dir.path(), "people.jsonl");
    assert!(people.iter().any(|it| it["name"] == "Name of inspector"), "{people:?}");
    let manifest: Value =
        serde_json::from_slice(&fs::read(dir.path().join("manifest.json")).unwrap()).unwrap();
    let rows: i64 =
        manifest["files"].as_array().unwrap().iter().map(|it| it["rows"].as_i64().unwrap()).sum();
    assert_eq!(shown["rows_done"], rows);
}

/// What `README.txt` says can be done by hand, done with other programs than ours.
#[actix_web::test]
async fn common_tools_check_it_too() {
    let line = sealed_line().await;
    let (dir, _) = copy_of(&line).await;
    let done = |program: &str, args: &[&str]| {
        let done = Command::new(program).args(args).current_dir(dir.path()).output().unwrap();
        assert!(
            done.status.success(),
            "{program} {args:?}: {}",
            String::from_utf8_lossy(&done.stderr)
        );
    };
    done("sha256sum", &["--strict", "-c", "SHA256SUMS"]);
    done("sha256sum", &["--strict", "-c", "manifest.json.sha256"]);
    if Command::new("openssl").arg("version").output().is_err() {
        println!("there is no openssl: the signatures were checked by our own library alone");
        return;
    }
    let checked = ["pkeyutl", "-verify", "-pubin", "-inkey", "public-key.pem", "-rawin"];
    done(
        "openssl",
        &[&checked[..], &["-in", "manifest.json", "-sigfile", "manifest.json.sig"]].concat(),
    );
    let checkpoint = &lines(dir.path(), "checkpoints.jsonl")[0];
    fs::write(dir.path().join("signed"), checkpoint["signed"].as_str().unwrap()).unwrap();
    let signature = hex::decode(checkpoint["signature"].as_str().unwrap()).unwrap();
    fs::write(dir.path().join("signature"), signature).unwrap();
    done("openssl", &[&checked[..], &["-in", "signed", "-sigfile", "signature"]].concat());
}

/// Every kind, first with the manifest left alone, then with every sum made right again: only the
/// key is missing to the forger. The place is named either way.
#[actix_web::test]
async fn every_kind_of_tampering_with_a_copy_is_found_and_named() {
    let line = sealed_line().await;
    let (dir, _) = copy_of(&line).await;
    for act in Act::ALL {
        for sums_too in [false, true] {
            let forged = Forger::new(dir.path());
            let (joint, seqs) = forged.does(act);
            if sums_too {
                forged.mends_all_sums();
            }
            let report = verify_bundle(forged.dir(), key_of(&line)).unwrap();
            let named = report
                .faults
                .iter()
                .any(|it| it.joint == joint && it.seq.is_some_and(|seq| seqs.contains(&seq)));
            assert!(named, "{act:?}, {joint} {seqs:?}: {:#?}", report.faults);
            let what = if sums_too { "the signature of the manifest" } else { "is not the file" };
            assert!(report.faults.iter().any(|it| it.what.contains(what)), "{act:?}: {what}");
        }
    }
}

/// What came after the last checkpoint is bound by the signed manifest alone.
#[actix_web::test]
async fn a_forged_copy_needs_the_key() {
    let line = sealed_line().await;
    let (dir, _) = copy_of(&line).await;
    let forged = Forger::new(dir.path());
    forged.makes_anew("J-4", 1);
    forged.mends_all_sums();
    let whats = |known| -> Vec<String> {
        let report = verify_bundle(forged.dir(), known).unwrap();
        report.faults.into_iter().map(|it| it.what).collect()
    };
    assert_eq!(whats(key_of(&line)), ["the signature of the manifest is not the key's"]);
    // Signed anew with another key, and that key put in place of the right one.
    forged.signs_all_anew();
    assert!(whats(key_of(&line)).iter().any(|it| it.contains("another key")));
}

#[actix_web::test]
async fn files_that_are_missing_or_too_many_are_named() {
    let line = sealed_line().await;
    let (dir, _) = copy_of(&line).await;
    let found = |dir: &Path| -> Vec<String> {
        let report = verify_bundle(dir, key_of(&line)).unwrap();
        report.faults.into_iter().map(|it| it.joint).collect()
    };
    fs::write(dir.path().join("more.txt"), "").unwrap();
    fs::remove_file(dir.path().join("setup.jsonl")).unwrap();
    assert_eq!(found(dir.path()), ["setup.jsonl", "more.txt"]);
    assert!(verify_bundle(Path::new("/nowhere"), Known::default()).is_err());
    let empty = tempfile::tempdir().unwrap();
    assert!(verify_bundle(empty.path(), Known::default()).is_err());
}

#[actix_web::test]
async fn a_spreadsheet_finds_no_formula() {
    let line = Line::new().await;
    line.adds_joints("S1", "=HYPERLINK(A1)", 1).await;
    let (dir, _) = copy_of(&line).await;
    let mut table = csv::Reader::from_path(dir.path().join("joints.csv")).unwrap();
    let row = table.records().next().unwrap().unwrap();
    assert_eq!(&row[1], "'=HYPERLINK(A1)-1");
    assert_eq!(verify_bundle(dir.path(), key_of(&line)).unwrap().faults, []);
}

#[actix_web::test]
async fn a_copy_is_made_once_and_kept_for_a_week() {
    let line = sealed_line().await;
    let asked = line.qa.posts("/exports", json!({})).await.expect(202);
    let id: Uuid = asked["id"].as_str().unwrap().parse().unwrap();
    assert_eq!(asked["status"], "waiting");
    line.qa.posts("/exports", json!({})).await.problem(409, "EXPORT_UNDER_WAY");
    let path = format!("/exports/{id}/download");
    line.qa.gets(&path).await.problem(409, "EXPORT_NOT_DONE");
    line.inspector.posts("/exports", json!({})).await.problem(403, "FORBIDDEN");
    line.qa.gets("/exports/x").await.problem(404, "NOT_FOUND");

    // Two workers take the same job: one archive is kept.
    let make = || run(&line.app.worker, line.project, id);
    let (one, two) = tokio::join!(make(), make());
    assert_eq!(one.unwrap().sha256, two.unwrap().sha256);
    let first = line.qa.gets(&path).await;
    assert_eq!(first.status, 200);
    run(&line.app.worker, line.project, id).await.unwrap();
    assert_eq!(line.qa.gets(&path).await.bytes, first.bytes);

    line.waits(TimeDelta::days(7) - TimeDelta::minutes(1));
    assert_eq!(app::upkeep::clean(&line.app.worker).await.unwrap().exports, 0);
    line.waits(TimeDelta::minutes(2));
    assert_eq!(app::upkeep::clean(&line.app.worker).await.unwrap().exports, 1);
    line.qa.gets(&path).await.problem(410, "EXPORT_EXPIRED");
    assert_eq!(line.app.count("SELECT count(*) FROM export_parts").await, 0);
}

#[actix_web::test]
async fn without_a_key_a_copy_fails_and_says_why() {
    let line = sealed_line().await;
    let asked = line.qa.posts("/exports", json!({})).await.expect(202);
    let id: Uuid = asked["id"].as_str().unwrap().parse().unwrap();
    let worker = line.app.worker.clone().sealing_by(None);
    assert!(run(&worker, line.project, id).await.is_err());
    let shown = line.qa.gets(&format!("/exports/{id}")).await.expect(200);
    assert_eq!(shown["status"], "failed");
    assert!(shown["failure"].as_str().unwrap().contains("--seal-key"), "{shown:#}");
}

#[actix_web::test]
async fn who_takes_something_out_is_noted() {
    let line = sealed_line().await;
    let nothing = line.qa.gets("/read-audit").await.expect(200);
    assert_eq!(nothing["items"], json!([]));
    let release: Uuid = sqlx::query_scalar("SELECT id FROM backfill_releases")
        .fetch_one(&line.app.database.pool)
        .await
        .unwrap();
    line.inspector.gets(&format!("/backfill-releases/{release}")).await.expect(200);
    line.waits(TimeDelta::seconds(1));
    let (_, export) = copy_of(&line).await;
    let noted = line.qa.gets("/read-audit").await.expect(200);
    let noted = noted["items"].as_array().unwrap();
    let told = |it: &Value| {
        (it["what"].clone(), it["subject"].clone(), it["rows"].clone(), it["name"].clone())
    };
    assert_eq!(
        told(&noted[0]),
        (
            json!("export"),
            export["id"].clone(),
            export["rows_done"].clone(),
            json!("Name of client")
        )
    );
    assert_eq!(
        told(&noted[1]),
        (json!("certificate"), json!(release), json!(1), json!("Name of inspector"))
    );
    assert!(noted[0]["request_id"].is_string());
    assert_eq!(noted.len(), 2);
    // A request that was refused took nothing out.
    line.crew.gets("/exports/x/download").await.problem(403, "FORBIDDEN");
    line.inspector.gets("/read-audit").await.problem(403, "FORBIDDEN");
    assert_eq!(line.app.count("SELECT count(*) FROM read_audit").await, 2);
}

#[actix_web::test]
async fn a_copy_never_mixes_with_what_is_there() {
    let line = sealed_line().await;
    let dir = tempfile::tempdir().unwrap();
    fs::write(dir.path().join("mine.txt"), "").unwrap();
    let copied = app::export::Copied { project: line.project, rows: Arc::default() };
    let key = Arc::clone(&line.app.worker.sealer.as_ref().unwrap().key);
    let refused = app::export::write(&line.app.worker, &copied, dir.path(), &key).await;
    assert!(refused.unwrap_err().to_string().contains("empty directory"));
    assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 1);
}

/// A worker that dies at its last attempt tells nobody.
#[actix_web::test]
async fn a_copy_that_nobody_makes_holds_up_no_other() {
    let line = sealed_line().await;
    let lost = line.qa.posts("/exports", json!({})).await.expect(202);
    line.waits(TimeDelta::hours(6));
    line.qa.posts("/exports", json!({})).await.expect(202);
    line.waits(TimeDelta::days(7) - TimeDelta::hours(3));
    app::upkeep::clean(&line.app.worker).await.unwrap();
    let path = format!("/exports/{}", lost["id"].as_str().unwrap());
    assert_eq!(line.qa.gets(&path).await.expect(200)["status"], "failed");
}
