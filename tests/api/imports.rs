//! A register is uploaded over HTTP and read by the worker: all of its rows, or none.

use std::{
    borrow::Borrow,
    time::{Duration, Instant},
};

use actix_web::test::TestRequest;
use app::{Actor, AppError, imports::ImportKind};
use domain::ids::{ImportId, UserId};
use harness::Line;
use serde_json::Value;
use tokio::sync::oneshot;
use uuid::Uuid;

const HEADER: &str = "joint_number,kp,section,kind,pipe_before,pipe_after,heat_before,heat_after,\
                      welder,weld_date";

/// Uploads `rows` as the coordinator; the id of the import.
async fn upload(line: &Line, rows: &[impl Borrow<str>], validate_only: bool) -> String {
    let text = format!("{HEADER}\r\n{}\r\n", rows.join("\r\n"));
    let rest = format!("/imports?kind=joint_register&validate_only={validate_only}");
    let request = TestRequest::post()
        .uri(&line.coordinator.path(&rest))
        .insert_header(("authorization", format!("Bearer {}", line.coordinator.token().await)))
        .insert_header(("content-type", "text/csv"))
        .set_payload(text);
    line.app.call(request).await.expect(202)["id"].as_str().unwrap().to_owned()
}

/// Uploads `rows` and lets a worker run until the import has ended.
async fn import(line: &Line, rows: &[&str], validate_only: bool) -> Value {
    let id = upload(line, rows, validate_only).await;
    let (stop, stopped) = oneshot::channel::<()>();
    let work = worker::run(line.app.worker.clone(), async move { drop(stopped.await) });
    let watch = async {
        let deadline = Instant::now() + Duration::from_mins(1);
        loop {
            let seen = line.coordinator.gets(&format!("/imports/{id}")).await.expect(200);
            if !["waiting", "checking"].contains(&seen["status"].as_str().unwrap()) {
                stop.send(()).unwrap();
                return seen;
            }
            assert!(Instant::now() < deadline, "the import has not ended: {seen:#}");
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
    };
    let (worked, seen) = futures_util::join!(work, watch);
    worked.unwrap();
    seen
}

#[actix_web::test]
async fn a_register_is_stored_by_the_worker() {
    let line = Line::with_joints(0).await;
    let rows = ["N-1,0.100,S1,mainline,P1,P2,H1,H2,W7,2026-03-01", "N-2,0+112,S1,tie-in,,,,,,"];

    let dry = import(&line, &rows, true).await;
    assert_eq!((&dry["status"], &dry["rows_stored"]), (&"valid".into(), &0.into()), "{dry:#}");

    let done = import(&line, &rows, false).await;
    assert_eq!((&done["status"], &done["rows_stored"]), (&"stored".into(), &2.into()), "{done:#}");
    let joint = line.coordinator.sees("N-2").await;
    assert_eq!((&joint["kind"], &joint["kp"]), (&"tie_in".into(), &"0+112".into()));
}

#[actix_web::test]
async fn a_register_with_bad_rows_stores_none_and_names_each_fault() {
    let line = Line::with_joints(0).await;
    let rows = [
        "N-1,0.100,S1,mainline,,,,,,2026-03-01",
        "N-2,\"0,112\",S9,weldolet,,,,,,01/03/2026",
        "N-1,0.120,S1,mainline,,,,,,",
    ];

    let seen = import(&line, &rows, false).await;

    assert_eq!(seen["status"], "refused", "{seen:#}");
    let faults: Vec<(u64, String)> = seen["errors"]
        .as_array()
        .unwrap()
        .iter()
        .map(|it| (it["row"].as_u64().unwrap(), it["column"].as_str().unwrap().to_owned()))
        .collect();
    for column in ["kp", "section", "kind", "weld_date"] {
        assert!(faults.contains(&(3, column.to_owned())), "{column}: {seen:#}");
    }
    let stored = line.app.count("SELECT count(*) FROM joints WHERE joint_number LIKE 'N-%'").await;
    assert_eq!(stored, 0);
}

/// Large enough for the file to be read in many parts.
const MANY: usize = 100_000;

#[actix_web::test]
async fn a_worker_that_dies_in_the_middle_costs_one_part() {
    let line = Line::with_joints(0).await;
    let rows: Vec<String> = (0..MANY)
        .map(|row| {
            let metres = 10_000 + row * 4;
            let (kilometres, rest) = (metres / 1000, metres % 1000);
            format!("R-{row},{kilometres}.{rest:03},S2,mainline,P{row},P{row}a,H1,H2,W7,2026-03-01")
        })
        .collect();
    let id: ImportId = upload(&line, &rows, false).await.parse().unwrap();

    // A future that is dropped is a process that is killed, seen from the database.
    let (parts_read, enough) = oneshot::channel();
    let mut parts_read = Some(parts_read);
    let first = app::imports::run(&line.app.worker, line.project, id, |import| {
        if import.rows_checked > 20_000
            && let Some(parts_read) = parts_read.take()
        {
            parts_read.send(import.rows_checked).unwrap();
        }
    });
    let before = tokio::select! {
        biased;
        before = enough => before.unwrap(),
        ended = first => panic!("the first worker came to the end: {:?}", ended.map(|it| it.status)),
    };
    let mut seen = Vec::new();
    let started = Instant::now();
    let done = app::imports::run(&line.app.worker, line.project, id, |import| {
        seen.push(import.rows_checked);
    });
    let done = done.await.unwrap();
    println!(
        "{MANY} rows, of them {before} by the first worker; the rest in {:.1?}",
        started.elapsed()
    );

    assert!(seen[0] > before, "it began anew: {seen:?} after {before}");
    assert_eq!((done.status.as_str(), done.rows_stored), ("stored", 100_000));
    let stored = line.app.count("SELECT count(*) FROM joints WHERE joint_number LIKE 'R-%'").await;
    assert_eq!(stored, 100_000);
}

#[actix_web::test]
async fn a_slow_upload_holds_no_connection_and_a_cut_one_leaves_nothing() {
    let line = Line::new().await;
    let (actor, project) = (line.coordinator.actor().await, line.coordinator.entry().await);
    let app = &line.app.app;
    let open_as = async |by: &Actor| {
        app::imports::open(app, by, &project, ImportKind::JointRegister, true).await
    };
    let open = async || open_as(&actor).await;
    // More than there are connections; as many as there are places. Four are one user's share.
    let mut slow = Vec::new();
    for other in 0..3 {
        let other = Actor { user: UserId(Uuid::from_u128(other)), ..actor.clone() };
        for _ in 0..4 {
            slow.push(open_as(&other).await.unwrap());
        }
    }
    for _ in 0..4 {
        slow.push(open().await.unwrap());
    }
    let other = Actor { user: UserId(Uuid::max()), ..actor.clone() };
    let refused = open_as(&other).await;
    assert!(matches!(refused, Err(AppError::Unavailable { .. })), "there is no place");
    for upload in &mut slow {
        upload.push(HEADER.as_bytes()).await.unwrap();
    }
    line.qa.gets("").await.expect(200);
    let nothing = "SELECT (SELECT count(*) FROM imports) + (SELECT count(*) FROM import_parts)";
    let whole = slow.pop().unwrap();
    drop(slow.drain(..8));
    let refused = open().await.err();
    let code = "TOO_MANY_UPLOADS";
    assert!(
        matches!(refused, Some(AppError::Conflict { code: it, .. }) if it == code),
        "others' places are free, but {refused:?}"
    );
    drop(slow);
    assert_eq!(line.app.count(nothing).await, 0);
    let id = whole.finish().await.unwrap();
    assert_eq!(line.app.count(nothing).await, 2);
    let seen = line.coordinator.gets(&format!("/imports/{id}")).await.expect(200);
    assert_eq!(seen["bytes_total"], HEADER.len());
    // Two whole parts and a beginning.
    let mut long = open().await.unwrap();
    for _ in 0..5 {
        long.push(&vec![b'x'; 450_000]).await.unwrap();
    }
    long.finish().await.unwrap();
    let parts = "SELECT sum(octet_length(bytes)) FROM import_parts WHERE part < 3";
    assert_eq!(line.app.count("SELECT count(*) FROM import_parts").await, 1 + 3);
    assert_eq!(line.app.count(parts).await, 2_250_000 + i64::try_from(HEADER.len()).unwrap());
}
