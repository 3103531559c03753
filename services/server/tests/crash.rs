//! Killed in the middle of a load, by turns the server and PostgreSQL: what was acknowledged is
//! there, once, and what was not is there after it is sent again.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

use std::{
    env,
    io::{self, Read, Write},
    net::{TcpListener, TcpStream},
    process::{Child, Command, Stdio},
    sync::{
        Arc,
        atomic::{AtomicU32, Ordering},
    },
    thread::{self, JoinHandle},
    time::{Duration, Instant},
};

use harness::{Line, actor::PASSWORD, database::Database, fact::everything};
use rustix::process::{Pid, Signal, kill_process};
use serde_json::{Value, json};
use sqlx::{Connection, PgConnection};

const PROGRAM: &str = env!("CARGO_BIN_EXE_jointward");

/// Acknowledged batches between two kills: not the same number each time.
const BETWEEN_KILLS: [u32; 5] = [9, 23, 4, 17, 31];

const CLIENTS: u32 = 4;

/// Enough that the last kill, too, falls into the load.
const JOINTS_PER_KILL: u32 = 24;

const PATIENCE: Duration = Duration::from_mins(2);

/// The server as a process of its own, at one address over all its lives.
struct Server {
    url: String,
    address: String,
    child: Child,
}

impl Server {
    fn start(url: &str) -> Self {
        // Free now, and nobody else is told of it.
        let free = TcpListener::bind("127.0.0.1:0").unwrap();
        let address = free.local_addr().unwrap().to_string();
        drop(free);
        let child = run(url, &address);
        Self { url: url.to_owned(), address, child }
    }

    fn is_killed_and_started(&mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
        self.child = run(&self.url, &self.address);
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn run(url: &str, address: &str) -> Child {
    let mut program = Command::new(PROGRAM);
    program.args(["serve", "--listen", address]).env("DATABASE_URL", url);
    program.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap()
}

/// Posts on a connection of its own; no answer, or half of one, is an error.
fn post(address: &str, path: &str, token: &str, body: &Value) -> io::Result<(u16, Value)> {
    let mut connection = TcpStream::connect(address)?;
    connection.set_read_timeout(Some(PATIENCE))?;
    let body = body.to_string();
    write!(
        connection,
        "POST {path} HTTP/1.1\r\nhost: {address}\r\nauthorization: Bearer {token}\r\n\
         content-type: application/json\r\ncontent-length: {}\r\nconnection: close\r\n\r\n{body}",
        body.len(),
    )?;
    let mut answer = String::new();
    connection.read_to_string(&mut answer)?;
    let (head, body) = answer.split_once("\r\n\r\n").ok_or(io::ErrorKind::UnexpectedEof)?;
    let status = head.split(' ').nth(1).and_then(|it| it.parse().ok());
    Ok((status.ok_or(io::ErrorKind::InvalidData)?, serde_json::from_str(body)?))
}

/// Asks again until `wanted` is the status of the answer. Before that only these are in order: no
/// whole answer, and one that says to come again.
fn insist(address: &str, path: &str, token: &str, body: &Value, wanted: u16) -> Value {
    let end = Instant::now() + PATIENCE;
    while Instant::now() < end {
        match post(address, path, token, body) {
            Ok((status, answer)) if status == wanted => return answer,
            Ok((503, _)) | Err(_) => thread::sleep(Duration::from_millis(20)),
            Ok((status, answer)) => panic!("{status} from {path}: {answer:#}"),
        }
    }
    panic!("never {wanted} from {path}");
}

/// What the clients share.
struct Load {
    address: String,
    path: String,
    token: String,
    joints: u32,
    acknowledged: AtomicU32,
    known: AtomicU32,
}

impl Load {
    /// One client: everything that a release takes, on every fourth joint.
    fn send(&self, client: u32) {
        for joint in (client..self.joints).step_by(CLIENTS as usize) {
            let facts = everything().into_iter().map(|it| it.on(&format!("J-{}", joint + 1)));
            let batch = json!({ "events": facts.collect::<Vec<_>>() });
            let answer = insist(&self.address, &self.path, &self.token, &batch, 207);
            let items = answer["items"].as_array().unwrap();
            let known = items.iter().filter(|it| it["status"] == 200).count();
            let new = items.iter().filter(|it| it["status"] == 201).count();
            // Of a batch that was lost with its answer, all is there or nothing.
            assert!(known == items.len() || new == items.len(), "{answer:#}");
            self.known.fetch_add(u32::from(known > 0), Ordering::Relaxed);
            self.acknowledged.fetch_add(1, Ordering::Release);
        }
    }
}

/// A process of PostgreSQL that works for the server. When one is killed, PostgreSQL ends all
/// others and recovers from its log, as after a crash of the machine.
async fn backend(database: &Database) -> Option<Pid> {
    let query = "SELECT pid FROM pg_stat_activity
                  WHERE datname = current_database() AND pid <> pg_backend_pid()
                    AND (state = 'active' OR state LIKE 'idle in transaction%')
                  ORDER BY state_change DESC LIMIT 1";
    let pid: Option<i32> = sqlx::query_scalar(query).fetch_optional(&database.pool).await.ok()?;
    pid.and_then(Pid::from_raw)
}

async fn until<T>(what: &str, mut found: impl AsyncFnMut() -> Option<T>) -> T {
    let end = Instant::now() + PATIENCE;
    while Instant::now() < end {
        if let Some(found) = found().await {
            return found;
        }
        tokio::time::sleep(Duration::from_millis(2)).await;
    }
    panic!("never: {what}");
}

/// Counts on a new connection: those of the pool may have ended with PostgreSQL.
async fn count(database: &Database, query: &'static str) -> i64 {
    let mut connection = PgConnection::connect(&database.url).await.unwrap();
    sqlx::query_scalar(query).fetch_one(&mut connection).await.unwrap()
}

#[actix_web::test]
async fn what_was_acknowledged_is_there_once_whatever_is_killed() {
    let kills = env::var("JOINTWARD_CRASH_KILLS").map_or(10, |it| it.parse().unwrap());
    let joints = kills * JOINTS_PER_KILL;
    let line = Line::with_joints(joints).await;
    let database = &line.app.database;
    let mut server = Server::start(&database.url);
    let who = json!({ "email": line.inspector.email, "password": PASSWORD });
    let session = insist(&server.address, "/v1/sessions", "", &who, 201);
    let load = Arc::new(Load {
        address: server.address.clone(),
        path: line.inspector.path("/event-batches"),
        token: session["access_token"].as_str().unwrap().to_owned(),
        joints,
        acknowledged: AtomicU32::new(0),
        known: AtomicU32::new(0),
    });
    let clients = (0..CLIENTS).map(|client| {
        let load = Arc::clone(&load);
        thread::spawn(move || load.send(client))
    });
    let clients: Vec<_> = clients.collect();

    // A PostgreSQL of another user or machine is not ours to kill.
    let postgresql_is_ours = env::var_os("DATABASE_URL").is_none_or(|it| it.is_empty());
    let mut next = 0;
    for (kill, between) in (0..kills).zip(BETWEEN_KILLS.into_iter().cycle()) {
        next += between;
        let reached = async || (load.acknowledged.load(Ordering::Acquire) >= next).then_some(());
        until("enough is acknowledged", reached).await;
        if kill % 2 == 1 && postgresql_is_ours {
            let pid = until("PostgreSQL works", async || backend(database).await).await;
            kill_process(pid, Signal::KILL).unwrap();
        } else {
            server.is_killed_and_started();
        }
    }
    until("all is sent", async || clients.iter().all(JoinHandle::is_finished).then_some(())).await;
    for client in clients {
        client.join().unwrap();
    }

    let each = i64::try_from(everything().len()).unwrap();
    assert_eq!(count(database, "SELECT count(*) FROM facts").await, each * i64::from(joints));
    let whole = "SELECT count(*) FROM joints WHERE stage = 'tested' AND chain_seq = (
                     SELECT count(*) FROM facts f
                      WHERE f.project_id = joints.project_id AND f.joint_id = joints.id)";
    assert_eq!(count(database, whole).await, i64::from(joints));
    let mut verify = Command::new(PROGRAM);
    let verified = verify.arg("verify").env("DATABASE_URL", &database.url).output().unwrap();
    assert!(verified.status.success(), "{}", String::from_utf8_lossy(&verified.stdout));
    let known = load.known.load(Ordering::Relaxed);
    println!(
        "{kills} kills, {joints} batches, {known} of them stored before their answer was lost"
    );
}
