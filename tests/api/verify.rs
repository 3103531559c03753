//! Whatever is changed behind the back of the server is found and named.

mod attacker;
mod seed;

use std::{
    env, fs,
    path::{Path, PathBuf},
    sync::Arc,
};

use app::{
    App,
    seal::{Known, Sealer, seal},
    verify::{Report, Wanted, verify_wanted},
};
use attacker::{Attacker, Mutant};
use auth::SealKey;
use chrono::TimeDelta;
use harness::{
    Line,
    fact::{damage_found, everything, repaired, wrapped_outer},
};
use proptest::{strategy::Strategy, strategy::ValueTree, test_runner::TestRunner};

/// A sealed project with records on most of its joints, and the checkpoints kept elsewhere.
struct Sealed {
    line: Line,
    worker: App,
    key: Arc<SealKey>,
    elsewhere: tempfile::TempDir,
}

impl Sealed {
    async fn new() -> Self {
        let line = Line::with_joints(6).await;
        let elsewhere = tempfile::tempdir().unwrap();
        let key = Arc::new(SealKey::generate().unwrap());
        let folder = Some(elsewhere.path().to_owned());
        let sealer = Sealer { key: Arc::clone(&key), folder };
        let worker = line.app.worker.clone().sealing_by(Some(sealer));
        line.records("J-1", &everything()).await;
        line.records("J-2", &everything()).await;
        seal(&worker, line.project).await.unwrap();
        line.waits(TimeDelta::days(1));
        line.records("J-2", &[damage_found(90), repaired(100), wrapped_outer(80)]).await;
        line.records("J-3", &everything()[..4]).await;
        line.records("J-4", &everything()[..1]).await;
        line.qa.releases("J-1").await.expect(201);
        seal(&worker, line.project).await.unwrap();
        Self { line, worker, key, elsewhere }
    }

    async fn attacker(&self) -> Attacker {
        Attacker::new(&self.line.app.database.url, self.line.project).await
    }

    async fn verify(&self, wanted: Wanted) -> Report {
        verify_wanted(&self.worker, &wanted, |_| {}).await.unwrap()
    }

    /// What the server itself can tell.
    async fn inside(&self) -> Report {
        self.verify(Wanted::default()).await
    }

    /// What one can tell who kept the checkpoints and knows the key.
    async fn outside(&self) -> Report {
        let against = vec![self.elsewhere.path().to_owned()];
        let known = Known { key: Some(self.key.public()) };
        self.verify(Wanted { against, known, ..Wanted::default() }).await
    }

    fn file(&self, number: u32) -> PathBuf {
        self.elsewhere.path().join(format!("NORTH/{number:06}.checkpoint"))
    }
}

/// Whether the report names the joint and one of the places.
fn names(report: &Report, mutant: &Mutant) -> bool {
    report.faults.iter().any(|it| {
        mutant.joints.contains(&it.joint) && it.seq.is_some_and(|seq| mutant.seqs.contains(&seq))
    })
}

#[actix_web::test]
async fn an_honest_project_raises_no_alarm() {
    let sealed = Sealed::new().await;
    for report in [sealed.inside().await, sealed.outside().await] {
        assert_eq!(report.faults, []);
        assert_eq!((report.joints, report.facts), (6, 22));
    }
    // Two of the database and two of the files.
    assert_eq!(sealed.outside().await.checkpoints, 4);
    // Work goes on: what is not sealed yet is no fault.
    sealed.line.records("J-5", &everything()).await;
    assert_eq!(sealed.outside().await.faults, []);
    let one = Wanted {
        project: Some(sealed.line.project),
        joint: Some("J-2".into()),
        against: vec![sealed.file(2)],
        ..Wanted::default()
    };
    let report = sealed.verify(one).await;
    assert_eq!((report.joints, report.facts, report.faults), (1, 10, vec![]));
}

/// No false alarm over many records, and how long it takes. `JOINTWARD_VERIFY_FACTS=1000000` runs
/// over more of them.
#[actix_web::test]
async fn many_honest_records_raise_no_alarm() {
    let facts = env::var("JOINTWARD_VERIFY_FACTS").map_or(7_000, |it| it.parse().unwrap());
    let line = Line::new().await;
    let joints = u32::div_ceil(facts, seed::EACH);
    seed::seed(&line, joints).await;
    seal(&line.app.worker, line.project).await.unwrap();
    // From here on the most memory is counted anew (proc(5), clear_refs).
    fs::write("/proc/self/clear_refs", "5").unwrap();
    let began = std::time::Instant::now();
    let (before, memory) = (cpu_s(), most_memory_kb());
    let report = app::verify::verify(&line.app.worker, None, |_| {}).await.unwrap();
    let (wall_s, cpu_s) = (began.elapsed().as_secs_f64(), cpu_s() - before);
    assert_eq!(report.faults, []);
    assert_eq!((report.facts, report.checkpoints), (u64::from(joints * seed::EACH), 1));
    let count = f64::from(joints * seed::EACH);
    println!(
        "{count} records of {joints} joints: {wall_s:.2} s, {:.0}/s; {cpu_s:.2} s of this process, \
         {:.0}/s; its memory grew by {} kB",
        count / wall_s,
        count / cpu_s,
        most_memory_kb() - memory,
    );
}

/// Time of all cores that this process has used, s.
fn cpu_s() -> f64 {
    let stat = fs::read_to_string("/proc/self/stat").unwrap();
    let fields: Vec<&str> = stat.rsplit(") ").next().unwrap().split(' ').collect();
    // utime and stime in hundredths, the 14th and 15th field of the line (proc(5)).
    let ticks: f64 = fields[11].parse::<f64>().unwrap() + fields[12].parse::<f64>().unwrap();
    ticks / 100.0
}

/// The most memory that this process has ever held, kB.
fn most_memory_kb() -> i64 {
    let status = fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find(|it| it.starts_with("VmHWM")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse().unwrap()
}

/// One bit of one column of one record: the chain alone finds it. `JOINTWARD_MUTANTS=2000` runs
/// more of them.
#[actix_web::test]
async fn every_changed_bit_is_found_and_named() {
    let sealed = Sealed::new().await;
    let mut attacker = sealed.attacker().await;
    let count = env::var("JOINTWARD_MUTANTS").map_or(150, |it| it.parse().unwrap());
    let mut runner = TestRunner::deterministic();
    for number in 0..count {
        let bit = attacker::bits().new_tree(&mut runner).unwrap().current();
        let mutant = attacker.flips(&bit).await;
        let report = sealed.inside().await;
        assert!(names(&report, &mutant), "mutant {number}: {mutant:?}: {:#?}", report.faults);
        attacker.puts_everything_back().await;
    }
    assert_eq!(sealed.outside().await.faults, []);
    println!("{count} mutants of single bits, all found and named");
}

/// Deleted, inserted, swapped, and copied rows, and a head that was rolled back: the chain finds
/// them. A tail that was cut off with all traces, and a chain that was made anew, only the
/// checkpoint does.
#[actix_web::test]
async fn every_kind_of_tampering_is_found_and_named() {
    let sealed = Sealed::new().await;
    let mut attacker = sealed.attacker().await;
    let count = env::var("JOINTWARD_MUTANTS").map_or(80, |it| it.parse().unwrap());
    let mut runner = TestRunner::deterministic();
    let mut by_kind = std::collections::BTreeMap::new();
    for number in 0..count {
        let act = attacker::acts().new_tree(&mut runner).unwrap().current();
        let mutant = attacker.does(&act).await;
        let report = sealed.outside().await;
        assert!(names(&report, &mutant), "mutant {number}: {mutant:?}: {:#?}", report.faults);
        *by_kind.entry(act.kind()).or_insert(0) += 1;
        attacker.puts_everything_back().await;
    }
    assert_eq!(sealed.outside().await.faults, []);
    println!("{count} mutants, all found and named: {by_kind:?}");
}

/// One who may write everywhere also replaces the checkpoints in the database. What was kept
/// elsewhere still tells.
#[actix_web::test]
async fn a_database_that_was_made_consistent_again_is_found_out_from_outside() {
    let sealed = Sealed::new().await;
    let mut attacker = sealed.attacker().await;
    let mutant = attacker.does(&attacker::Act::MakeAnew { joint: 2, from: 3 }).await;
    attacker.forgets_all_checkpoints().await;
    let forger = Sealer { key: Arc::new(SealKey::generate().unwrap()), folder: None };
    let worker = sealed.worker.clone().sealing_by(Some(forger));
    seal(&worker, sealed.line.project).await.unwrap();

    assert_eq!(sealed.inside().await.faults, [], "by itself the database looks honest");
    let report = sealed.outside().await;
    assert!(names(&report, &mutant), "{:#?}", report.faults);
    let whats: Vec<&str> = report.faults.iter().map(|it| it.what.as_str()).collect();
    for what in ["another key", "another checkpoint of this number", "does not hold this"] {
        assert!(whats.iter().any(|it| it.contains(what)), "{what}: {whats:#?}");
    }
    // The key alone is enough to see that something is wrong.
    let known = Known { key: Some(sealed.key.public()) };
    let report = sealed.verify(Wanted { known, ..Wanted::default() }).await;
    assert!(report.faults.iter().any(|it| it.what.contains("another key")));
}

/// Every byte of a checkpoint that was kept counts.
#[actix_web::test]
async fn a_checkpoint_file_that_was_changed_is_found_out() {
    let sealed = Sealed::new().await;
    let path = sealed.file(1);
    let honest = fs::read(&path).unwrap();
    let wanted = |path: &Path| Wanted {
        against: vec![path.to_owned()],
        known: Known { key: Some(sealed.key.public()) },
        ..Wanted::default()
    };
    for place in (0..honest.len()).step_by(29).chain([honest.len() - 2]) {
        let mut wrong = honest.clone();
        wrong[place] ^= 1;
        fs::write(&path, &wrong).unwrap();
        let report = sealed.verify(wanted(&path)).await;
        assert!(!report.faults.is_empty(), "byte {place}");
    }
    for wrong in [&honest[..honest.len() - 108], &honest[..10], &[][..]] {
        fs::write(&path, wrong).unwrap();
        assert!(!sealed.verify(wanted(&path)).await.faults.is_empty());
    }
    fs::write(&path, &honest).unwrap();
    assert_eq!(sealed.verify(wanted(&path)).await.faults, []);
}

#[actix_web::test]
async fn a_sealing_warns_of_what_was_altered_since_the_one_before() {
    let sealed = Sealed::new().await;
    let mut attacker = sealed.attacker().await;
    attacker.does(&attacker::Act::MakeAnew { joint: 2, from: 2 }).await;
    sealed.line.waits(TimeDelta::days(1));
    let made = seal(&sealed.worker, sealed.line.project).await.unwrap();
    assert_eq!((made.is_new, made.contradicted), (true, 1));
    let warnings = sealed.line.qa.gets("/warnings").await.expect(200);
    let warnings = warnings["items"].as_array().unwrap();
    let warning = warnings.iter().find(|it| it["kind"] == "records_altered").unwrap();
    assert!(warning["detail"].as_str().unwrap().contains("J-2"), "{warning:#}");
}

#[actix_web::test]
async fn a_release_that_stands_on_another_record_is_found() {
    let sealed = Sealed::new().await;
    let mut attacker = sealed.attacker().await;
    attacker.runs("UPDATE backfill_releases SET chain_seq = chain_seq - 1").await;
    let report = sealed.inside().await;
    let fault = report.faults.iter().find(|it| it.joint == "J-1").unwrap();
    assert!(fault.what.contains("release"), "{fault:?}");
}
