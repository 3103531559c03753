//! Checkpoints: one a day over all joints, signed, published, and proofs that lead to them.

use std::{fs, sync::Arc};

use app::seal::{SealedFile, Sealer, seal};
use auth::{SealKey, SealPublicKey};
use chrono::TimeDelta;
use domain::seal::{Checkpoint, merkle};
use harness::{Line, fact::welded};
use serde_json::{Value, json};

fn hash(text: &Value) -> [u8; 32] {
    hex::decode(text.as_str().unwrap()).unwrap().try_into().unwrap()
}

/// The line's worker, publishing into `folder`.
fn publishing(line: &Line, folder: &std::path::Path) -> app::App {
    let key = Arc::new(SealKey::generate().unwrap());
    let sealer = Sealer { key, folder: Some(folder.to_owned()) };
    line.app.worker.clone().sealing_by(Some(sealer))
}

#[actix_web::test]
async fn the_proof_of_every_joint_leads_to_the_signed_root() {
    let line = Line::with_joints(7).await;
    line.makes_ready("J-3").await;
    line.inspector.records("J-5", &welded(0)).await.expect(201);
    let before = line.client.gets("/joints/J-3/proof").await.expect(200);
    assert_eq!((&before["chain_seq"], &before["sealed"]), (&json!(7), &Value::Null));

    let made = seal(&line.app.worker, line.project).await.unwrap();
    assert!(made.is_new && made.number == 1);

    let shown = line.client.gets("/checkpoints/1").await.expect(200);
    assert_eq!(
        (&shown["joints"], &shown["facts"], &shown["day"]),
        (&json!(7), &json!(8), &json!("2026-06-10"))
    );
    let signed = shown["signed"].as_str().unwrap();
    let key = SealPublicKey::parse(shown["public_key_pem"].as_str().unwrap()).unwrap();
    let signature = hex::decode(shown["signature"].as_str().unwrap()).unwrap();
    assert!(key.verifies(signed.as_bytes(), &signature));
    assert_eq!(key.fingerprint(), shown["key"]);
    let says = Checkpoint::parse(signed.as_bytes()).unwrap();
    assert_eq!(says.previous, "0".repeat(64));
    for joint in 1..=7 {
        let proof = line.client.gets(&format!("/joints/J-{joint}/proof")).await.expect(200);
        let sealed = &proof["sealed"];
        let leaf = sealed["leaf"].as_str().unwrap();
        let expected = format!(
            "{} {} {}",
            proof["joint_id"].as_str().unwrap(),
            proof["chain_seq"],
            proof["chain_head"].as_str().unwrap()
        );
        assert_eq!(leaf, expected, "nothing was recorded since");
        let path: Vec<_> = sealed["path"].as_array().unwrap().iter().map(hash).collect();
        let (index, size) = (sealed["index"].as_u64().unwrap(), sealed["size"].as_u64().unwrap());
        let leaf = merkle::leaf_hash(leaf.as_bytes());
        let root = merkle::root_by_path(&leaf, index, size, &path).unwrap();
        assert_eq!(hex::encode(root), says.root, "J-{joint}");
    }
}

#[actix_web::test]
async fn what_comes_after_a_checkpoint_waits_for_the_next_one() {
    let line = Line::with_joints(2).await;
    line.inspector.records("J-1", &welded(0)).await.expect(201);
    seal(&line.app.worker, line.project).await.unwrap();
    line.makes_ready("J-2").await;
    line.adds_joints("S2", "K", 1).await;
    let proof = line.qa.gets("/joints/J-2/proof").await.expect(200);
    assert_eq!((&proof["chain_seq"], &proof["sealed"]["chain_seq"]), (&json!(7), &json!(0)));
    let new = line.qa.gets("/joints/K-1/proof").await.expect(200);
    assert_eq!(new["sealed"], Value::Null);
    line.waits(TimeDelta::days(1));
    seal(&line.app.worker, line.project).await.unwrap();
    for (joint, records) in [("J-1", 1), ("J-2", 7), ("K-1", 0)] {
        let proof = line.qa.gets(&format!("/joints/{joint}/proof")).await.expect(200);
        assert_eq!(proof["sealed"]["chain_seq"], records, "{joint}");
        assert_eq!(proof["sealed"]["checkpoint"]["number"], 2);
    }
    // J-1 has rested: its leaf is kept once.
    let kept = "SELECT count(*) FROM checkpoint_leaves";
    assert_eq!(line.app.count(kept).await, 4);
}

#[actix_web::test]
async fn there_is_one_a_day_however_many_workers_seal() {
    let line = Line::with_joints(3).await;
    for day in 1..=3 {
        let both = || seal(&line.app.worker, line.project);
        let made = tokio::join!(both(), both(), both(), both(), both(), both());
        let made = [made.0, made.1, made.2, made.3, made.4, made.5].map(Result::unwrap);
        assert_eq!(made.iter().filter(|it| it.is_new).count(), 1);
        assert!(made.iter().all(|it| it.number == day));
        line.waits(TimeDelta::days(1));
    }
    let list = line.client.gets("/checkpoints?limit=2").await.expect(200);
    let items = list["items"].as_array().unwrap();
    assert_eq!(items[0]["previous"], items[1]["hash"]);
    let next = format!("/checkpoints?cursor={}", list["next"].as_str().unwrap());
    let rest = line.client.gets(&next).await.expect(200);
    assert_eq!(items[1]["previous"], rest["items"][0]["hash"]);
    assert_eq!(rest["next"], Value::Null);
}

/// The project lies in a zone that is two hours ahead of UTC in June.
#[actix_web::test]
async fn the_day_is_the_one_of_the_project() {
    let line = Line::with_joints(1).await;
    line.waits(TimeDelta::hours(6) - TimeDelta::minutes(1));
    seal(&line.app.worker, line.project).await.unwrap();
    line.waits(TimeDelta::minutes(1));
    let made = seal(&line.app.worker, line.project).await.unwrap();
    assert_eq!((made.number, made.is_new), (2, true), "22:00 UTC is midnight there");
    let shown = line.client.gets("/checkpoints/2").await.expect(200);
    assert_eq!(shown["day"], "2026-06-11");
}

#[actix_web::test]
async fn a_checkpoint_is_published_as_a_file_and_in_the_feed() {
    let line = Line::with_joints(4).await;
    line.makes_ready("J-2").await;
    let folder = tempfile::tempdir().unwrap();
    let worker = publishing(&line, folder.path());
    let made = seal(&worker, line.project).await.unwrap();
    assert_eq!(made.published, 1);
    let path = folder.path().join("NORTH/000001.checkpoint");
    let text = fs::read_to_string(&path).unwrap();
    let shown = line.client.gets("/checkpoints/1").await.expect(200);
    assert!(text.starts_with(shown["signed"].as_str().unwrap()));
    let mut file = SealedFile::open(&path).unwrap();
    assert_eq!(hex::encode(&file.signature), shown["signature"]);
    assert_eq!(file.by_ref().map(Result::unwrap).count(), 4);
    // Nothing but the file: it was made beside it and renamed.
    assert_eq!(fs::read_dir(path.parent().unwrap()).unwrap().count(), 1);

    let told = line.client.gets("/changes?after=0&limit=500").await.expect(200);
    let told = told["items"].as_array().unwrap().last().unwrap().clone();
    assert_eq!((&told["topic"], &told["subject"]), (&json!("checkpoint.sealed"), &json!("1")));
    assert_eq!(told["body"]["hash"], shown["hash"]);
    assert_eq!(told["body"]["signature"], shown["signature"]);

    // A process that died after the commit is made up for by the next sealing.
    fs::remove_file(&path).unwrap();
    let again = seal(&worker, line.project).await.unwrap();
    assert_eq!((again.is_new, again.published), (false, 1));
    assert_eq!(fs::read_to_string(&path).unwrap(), text);
}

#[actix_web::test]
async fn without_a_key_nothing_is_sealed() {
    let line = Line::with_joints(1).await;
    let worker = line.app.worker.clone().sealing_by(None);
    let refused = seal(&worker, line.project).await.unwrap_err();
    assert!(refused.to_string().contains("--seal-key"), "{refused}");
    assert_eq!(app::seal::ask_each(&worker, line.app.now()).await.unwrap(), 0);
    assert_eq!(line.app.count("SELECT count(*) FROM checkpoints").await, 0);
}

#[actix_web::test]
async fn a_night_asks_for_one_job_a_project_and_people_can_ask_too() {
    let line = Line::with_joints(1).await;
    let tick = line.app.now();
    // NORTH and SOUTH.
    assert_eq!(app::seal::ask_each(&line.app.worker, tick).await.unwrap(), 2);
    assert_eq!(app::seal::ask_each(&line.app.worker, tick).await.unwrap(), 0);
    let later = tick + TimeDelta::hours(5);
    assert_eq!(app::seal::ask_each(&line.app.worker, later).await.unwrap(), 0, "the same day");
    let tomorrow = tick + TimeDelta::days(1);
    assert_eq!(app::seal::ask_each(&line.app.worker, tomorrow).await.unwrap(), 2);
    line.coordinator.posts("/jobs/seal/runs", json!({})).await.expect(202);
    line.client.posts("/jobs/seal/runs", json!({})).await.problem(403, "FORBIDDEN");
}

#[actix_web::test]
async fn what_is_not_there_is_not_found() {
    let line = Line::with_joints(1).await;
    seal(&line.app.worker, line.project).await.unwrap();
    for path in ["/checkpoints/2", "/checkpoints/x", "/checkpoints/2/file", "/joints/J-9/proof"] {
        line.client.gets(path).await.problem(404, "NOT_FOUND");
    }
}
