//! The promises of a private cluster, each kept against a real PostgreSQL.
#![expect(clippy::unwrap_used, reason = "a helper of a test fails the test")]

use std::{
    env, fs,
    os::unix::{fs::MetadataExt, process::CommandExt},
    path::{Path, PathBuf},
    process::{Child, Command, Stdio},
    thread,
    time::{Duration, Instant},
};

use cluster::{Cluster, ClusterError, Options, installed};
use rustix::process::{Pid, Signal, kill_process, test_kill_process};

/// A directory that goes with the test, and the cluster in it.
struct Place(PathBuf);

impl Place {
    fn new(name: &str) -> Self {
        Self(env::temp_dir().join(format!("jw-test-{name}-{}", std::process::id())))
    }

    /// A kept cluster, so with commits that survive a crash.
    fn options(&self) -> Options {
        Options::new(&self.0)
    }

    fn start(&self) -> Cluster {
        Cluster::start(&self.options()).unwrap()
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

/// Runs SQL through the client that comes with the server; returns what it prints.
fn sql(url: &str, statement: &str) -> String {
    let beside = installed().remove(0).bin_dir.join("psql");
    let psql = if beside.exists() { beside } else { PathBuf::from("psql") };
    let output = Command::new(psql)
        .args(["--no-psqlrc", "--tuples-only", "--no-align", "--quiet"])
        .args(["--set", "ON_ERROR_STOP=1", "--command", statement, url])
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap().trim().to_owned()
}

fn keep_a_row(cluster: &Cluster) {
    sql(&cluster.url("postgres"), "CREATE TABLE weld (n int); INSERT INTO weld VALUES (7)");
}

fn the_row(cluster: &Cluster) -> String {
    sql(&cluster.url("postgres"), "SELECT n FROM weld")
}

/// Kills a process and waits for its end, which comes a little after the signal.
fn kill_9(pid: i32) {
    kill_process(Pid::from_raw(pid).unwrap(), Signal::KILL).unwrap();
    until("the killed process ends", || !lives(pid));
}

fn lives(pid: i32) -> bool {
    test_kill_process(Pid::from_raw(pid).unwrap()).is_ok()
        && !fs::read_to_string(format!("/proc/{pid}/stat")).is_ok_and(|stat| stat.contains(") Z "))
}

/// Looks again and again until the condition holds; fails the test when it never does.
fn until(what: &str, mut condition: impl FnMut() -> bool) {
    let end = Instant::now() + Duration::from_mins(1);
    while !condition() {
        assert!(Instant::now() < end, "never: {what}");
        thread::sleep(Duration::from_millis(5));
    }
}

#[test]
fn a_fresh_cluster_takes_connections() {
    let place = Place::new("fresh");
    let cluster = Cluster::start(&place.options().with_setting("max_connections", "33")).unwrap();
    let url = cluster.url("postgres");

    assert!(!cluster.was_adopted());
    assert_eq!(sql(&url, "SHOW max_connections"), "33");
    assert_eq!(sql(&url, "SHOW listen_addresses"), "");
    assert_eq!(sql(&url, "SHOW server_encoding"), "UTF8");
    assert_eq!(sql(&url, "SHOW timezone"), "UTC");
    let process = cluster.process_id();
    cluster.stop().unwrap();
    assert!(!lives(process));
}

#[test]
fn commits_wait_for_the_disk_unless_told_otherwise() {
    let place = Place::new("fsync");
    let cluster = place.start();
    let url = cluster.url("postgres");

    let answers = ["fsync", "synchronous_commit", "full_page_writes"]
        .map(|setting| sql(&url, &format!("SHOW {setting}")));

    assert_eq!(answers, ["on", "on", "on"]);
}

#[test]
fn nobody_signs_in_without_the_password() {
    let place = Place::new("password");
    let cluster = place.start();
    let password = fs::read_to_string(place.0.join("password")).unwrap();
    let stranger = cluster.url("postgres").replace(&password, "wrong");

    let refused = Command::new("psql").args(["--command", "SELECT 1", &stranger]).output().unwrap();

    assert!(!refused.status.success());
    let mode = |name: &str| fs::metadata(place.0.join(name)).unwrap().mode() & 0o777;
    assert_eq!(mode("password"), 0o600);
    assert_eq!(mode("s"), 0o700);
    assert_eq!(mode("data"), 0o700);
}

#[test]
fn a_stopped_cluster_is_used_again() {
    let place = Place::new("again");
    let first = place.start();
    keep_a_row(&first);
    let first_url = first.url("postgres");
    first.stop().unwrap();

    let second = place.start();

    assert_eq!(the_row(&second), "7");
    assert_eq!(second.url("postgres"), first_url);
}

#[test]
fn dropping_stops_the_server() {
    let place = Place::new("drop");
    let cluster = place.start();
    let process = cluster.process_id();

    drop(cluster);

    assert!(!lives(process));
}

#[test]
fn a_directory_too_long_for_a_socket_will_do() {
    let place =
        Place(env::temp_dir().join(format!("jw-{}-{}", "x".repeat(90), std::process::id())));
    let cluster = place.start();
    let sockets = sql(&cluster.url("postgres"), "SHOW unix_socket_directories");
    cluster.stop().unwrap();
    let again = place.start();

    assert!(sockets.len() < 60, "{sockets}");
    assert_eq!(sql(&again.url("postgres"), "SHOW unix_socket_directories"), sockets);
    again.stop().unwrap();
    fs::remove_dir(sockets).unwrap();
}

#[test]
fn a_second_instance_is_refused() {
    let place = Place::new("second");
    let first = place.start();

    let refusal = Cluster::start(&place.options()).unwrap_err();

    let holder = format!("process {}", std::process::id());
    assert!(matches!(&refusal, ClusterError::InUse { .. }), "{refusal}");
    assert!(refusal.to_string().contains(&holder), "{refusal}");
    assert_eq!(sql(&first.url("postgres"), "SELECT 1"), "1");
}

#[test]
fn a_killed_server_recovers_at_the_next_start() {
    let place = Place::new("killed");
    let cluster = place.start();
    keep_a_row(&cluster);

    kill_9(cluster.process_id());
    drop(cluster);
    let next = place.start();

    assert!(!next.was_adopted());
    assert_eq!(the_row(&next), "7");
}

#[test]
fn a_pid_file_that_names_a_foreign_process_is_not_believed() {
    let place = Place::new("stale");
    let cluster = place.start();
    keep_a_row(&cluster);
    let old = cluster.process_id();
    kill_9(old);
    drop(cluster);

    // A process of the very account, which PostgreSQL alone would take for its own.
    let owner = fs::metadata(place.0.join("data")).unwrap();
    let mut sleeper = Command::new("sleep");
    if rustix::process::geteuid().is_root() {
        sleeper.uid(owner.uid()).gid(owner.gid());
    }
    let mut sleeper = sleeper.arg("600").current_dir("/").spawn().unwrap();
    let rename = |path: PathBuf| {
        let text = fs::read_to_string(&path).unwrap();
        fs::write(&path, text.replacen(&old.to_string(), &sleeper.id().to_string(), 1)).unwrap();
    };
    rename(place.0.join("data/postmaster.pid"));
    rename(place.0.join("s/.s.PGSQL.5432.lock"));

    let next = Cluster::start(&place.options());

    let sleeper_lives = sleeper.try_wait().unwrap().is_none();
    sleeper.kill().unwrap();
    sleeper.wait().unwrap();
    assert_eq!(the_row(&next.unwrap()), "7");
    assert!(sleeper_lives);
}

#[test]
fn half_made_data_are_made_anew() {
    let place = Place::new("half");
    fs::create_dir_all(place.0.join("data.init.1/base")).unwrap();
    if rustix::process::geteuid().is_root() {
        Command::new("chmod").arg("711").arg(&place.0).status().unwrap();
    }

    let cluster = place.start();

    assert_eq!(sql(&cluster.url("postgres"), "SELECT 1"), "1");
    assert!(!place.0.join("data.init.1").exists());
}

#[test]
fn without_server_programs_the_way_to_them_is_told() {
    let place = Place::new("none");
    let empty = env::temp_dir();

    let refusal = Cluster::start(&Options { bin_dir: Some(empty), ..place.options() }).unwrap_err();

    assert!(matches!(refusal, ClusterError::NoServerIn { .. }), "{refusal}");
    assert!(refusal.to_string().contains("apt-get install postgresql"), "{refusal}");
    let anywhere = ClusterError::NoServer { oldest: 15 }.to_string();
    assert!(anywhere.contains("apt-get install postgresql"), "{anywhere}");
}

#[test]
fn a_wrong_setting_is_told_with_the_end_of_the_log() {
    let place = Place::new("setting");

    let refusal = Cluster::start(&place.options().with_setting("no_such", "1")).unwrap_err();

    assert!(refusal.to_string().contains("unrecognized configuration parameter"), "{refusal}");
}

#[test]
fn a_server_whose_parent_was_killed_is_adopted_and_stopped() {
    let place = Place::new("adopted");
    let mut parent = Parent::start(&place.0, "keep");
    let orphan = parent.server();

    parent.kill_9();
    assert!(lives(orphan), "the server died with its parent");
    let cluster = place.start();

    assert!(cluster.was_adopted());
    assert_eq!(cluster.process_id(), orphan);
    assert_eq!(the_row(&cluster), "7");
    cluster.stop().unwrap();
    assert!(!lives(orphan));
}

#[test]
fn a_server_killed_together_with_its_parent_recovers() {
    let place = Place::new("both");
    let mut parent = Parent::start(&place.0, "keep");
    let orphan = parent.server();

    kill_9(orphan);
    parent.kill_9();
    let cluster = place.start();

    assert!(!cluster.was_adopted());
    assert_eq!(the_row(&cluster), "7");
}

#[test]
fn a_throw_away_cluster_is_gone_when_it_stops() {
    let cluster = Cluster::start(&Options::temporary()).unwrap();
    let (dir, process) = (cluster.dir().to_path_buf(), cluster.process_id());
    assert_eq!(sql(&cluster.url("postgres"), "SHOW fsync"), "off");

    cluster.stop().unwrap();

    assert!(!dir.exists());
    assert!(!lives(process));
}

#[test]
fn a_throw_away_cluster_is_gone_after_its_parent_was_killed() {
    let place = Place::new("gone");
    let mut parent = Parent::start(&place.0, "throw away");
    let orphan = parent.server();

    parent.kill_9();

    until("the directory is removed", || !place.0.exists());
    until("the server is gone", || !lives(orphan));
}

#[test]
fn a_throw_away_cluster_killed_in_the_making_leaves_nothing() {
    let place = Place::new("making");
    let mut parent = Parent::spawn(&place.0, "throw away");
    until("initdb works", || place.0.join(format!("data.init.{}", parent.process.id())).exists());

    parent.kill_9();

    until("the directory is removed", || !place.0.exists());
    assert!(!place.0.exists());
}

#[test]
fn a_throw_away_cluster_never_takes_what_exists() {
    let place = Place::new("precious");
    fs::create_dir_all(&place.0).unwrap();
    fs::write(place.0.join("precious"), "").unwrap();

    let refusal = Cluster::start(&Options { throw_away: true, ..place.options() }).unwrap_err();

    assert!(matches!(refusal, ClusterError::NotNew { .. }), "{refusal}");
    assert!(place.0.join("precious").exists());
}

/// Another process that runs a cluster: this test program again, asked for `the_parent` alone.
struct Parent {
    process: Child,
    report: PathBuf,
}

const PARENT_DIR: &str = "CLUSTER_TEST_PARENT_DIR";
const PARENT_KIND: &str = "CLUSTER_TEST_PARENT_KIND";

impl Parent {
    fn spawn(dir: &Path, kind: &str) -> Self {
        let process = Command::new(env::current_exe().unwrap())
            .args(["--exact", "the_parent"])
            .env(PARENT_DIR, dir)
            .env(PARENT_KIND, kind)
            .stdout(Stdio::null())
            .spawn()
            .unwrap();
        Self { process, report: report_of(dir) }
    }

    /// Starts it and waits until its cluster runs and holds the row.
    fn start(dir: &Path, kind: &str) -> Self {
        let mut parent = Self::spawn(dir, kind);
        until("the parent has its cluster", || {
            let status = parent.process.try_wait().unwrap();
            assert!(status.is_none(), "the parent ended: {status:?}");
            parent.report.exists()
        });
        parent
    }

    fn server(&self) -> i32 {
        fs::read_to_string(&self.report).unwrap().parse().unwrap()
    }

    fn kill_9(&mut self) {
        self.process.kill().unwrap();
        self.process.wait().unwrap();
    }
}

impl Drop for Parent {
    fn drop(&mut self) {
        let _ = self.process.kill();
        let _ = self.process.wait();
        let _ = fs::remove_file(&self.report);
    }
}

fn report_of(dir: &Path) -> PathBuf {
    dir.with_extension("server")
}

/// Not a test when run among the others: the body of [`Parent`], which runs until it is killed.
#[test]
fn the_parent() {
    let Some(dir) = env::var_os(PARENT_DIR).map(PathBuf::from) else { return };
    let throw_away = env::var(PARENT_KIND).unwrap() == "throw away";
    let options = Options { throw_away, ..Options::new(&dir) };
    let cluster = Cluster::start(&options).unwrap();
    keep_a_row(&cluster);
    let unfinished = dir.with_extension("writing");
    fs::write(&unfinished, cluster.process_id().to_string()).unwrap();
    fs::rename(&unfinished, report_of(&dir)).unwrap();
    loop {
        thread::park();
    }
}
