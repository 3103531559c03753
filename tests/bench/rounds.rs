//! The rounds, and what came of them.

use std::{collections::BTreeMap, fs, path::PathBuf, sync::atomic::AtomicU32};

use harness::{Line, server::Server};
use sqlx::{Connection, PgConnection};

use crate::{
    Outcome,
    capture::{Held, Log, Slot, Statement},
    comparison::Comparison,
    http,
    options::{Options, Work},
    pgbench::Script,
    requests::{IN_A_BATCH, Requests, new_id, wanted},
    say,
    seed::{World, id_of, millimetres_of},
};

/// Batches are sent by that many clients.
const SENDERS_OF_BATCHES: u32 = 8;

/// What one round measured of one kind of work with one number of clients.
#[derive(Debug, Clone, Copy, Default)]
pub struct Sample {
    /// Transactions per second of the bare script.
    pub bare: Option<f64>,
    /// Requests' worth of the server's own statements per second.
    pub same_sql: Option<f64>,
    /// On average, ms.
    pub same_sql_ms: f64,
    /// Requests per second.
    pub http: f64,
    /// ms.
    pub p50_ms: f64,
    /// ms.
    pub p99_ms: f64,
    /// Requests per second of the comparison program.
    pub comparison: Option<f64>,
}

/// Every round's samples, and the memory that the server used under this load.
pub struct Shares {
    /// By work and number of clients.
    pub samples: BTreeMap<(Work, u32), Vec<Sample>>,
    /// At most, MB.
    pub peak_mb: f64,
}

/// Runs all rounds.
pub async fn run(
    line: &Line,
    world: &World,
    server: &Server,
    options: &Options,
) -> Outcome<Shares> {
    let dir = Scripts::new()?;
    let url = &line.app.database.url;
    let works: Vec<Work> = [Work::Record, Work::Read, Work::List]
        .into_iter()
        .filter(|it| options.wants(*it))
        .collect();
    let statements = capture(line, world, server, &works, options.show_sql).await?;
    let bare = Script::bare(&dir.0, world)?;
    let mut scripts = BTreeMap::new();
    for (work, statements) in &statements {
        let joints = if *work == Work::List { world.joints } else { world.coated };
        let name = format!("{work:?}").to_lowercase();
        scripts.insert(*work, Script::same_sql(&dir.0, &name, statements, joints)?);
    }
    let comparison = match &options.comparison {
        Some(python) => Some(Comparison::start(python, url, &statements, world).await?),
        None => None,
    };

    let batched = AtomicU32::new(0);
    let mut samples: BTreeMap<(Work, u32), Vec<Sample>> = BTreeMap::new();
    for round in 1..=options.rounds {
        say(format_args!("round {round} of {}", options.rounds));
        for clients in &options.clients {
            let clients = *clients;
            let mut bare_now = None;
            for work in &works {
                let work = *work;
                let script = scripts.get(&work).ok_or("work without a script")?;
                if work == Work::Record {
                    bare_now = Some(bare.run(url, clients, options.seconds)?.per_second);
                }
                let same_sql = script.run(url, clients, options.seconds)?;
                let token = server.token(&line.inspector.email).await;
                let requests = Requests::new(world, token, &batched);
                let make = |random| requests.make(work, random);
                let answered =
                    http::load(&server.address, clients, options.seconds, wanted(work), &make)
                        .await?;
                let compared = match &comparison {
                    Some(it) => Some(it.load(work, clients, options.seconds).await?),
                    None => None,
                };
                samples.entry((work, clients)).or_default().push(Sample {
                    bare: bare_now.filter(|_| work == Work::Record),
                    same_sql: Some(same_sql.per_second),
                    same_sql_ms: same_sql.average_ms,
                    http: answered.per_second,
                    p50_ms: answered.p50_ms,
                    p99_ms: answered.p99_ms,
                    comparison: compared,
                });
            }
        }
        if options.wants(Work::Batch) {
            let bare = bare.run(url, SENDERS_OF_BATCHES, options.seconds)?.per_second;
            let token = server.token(&line.inspector.email).await;
            let requests = Requests::new(world, token, &batched);
            let make = |random| requests.make(Work::Batch, random);
            let (clients, seconds) = (SENDERS_OF_BATCHES, options.seconds);
            let answered =
                http::load(&server.address, clients, seconds, wanted(Work::Batch), &make).await?;
            samples.entry((Work::Batch, clients)).or_default().push(Sample {
                bare: Some(bare),
                http: answered.per_second * f64::from(IN_A_BATCH),
                p50_ms: answered.p50_ms,
                p99_ms: answered.p99_ms,
                ..Sample::default()
            });
        }
    }
    Ok(Shares { samples, peak_mb: server.memory_mb().1 })
}

/// What the server sends for each kind of work, on the model joint.
async fn capture(
    line: &Line,
    world: &World,
    server: &Server,
    works: &[Work],
    show: bool,
) -> Outcome<BTreeMap<Work, Vec<Statement>>> {
    let url = &line.app.database.url;
    let mut log = Log::begin(url).await?;
    let mut conn = PgConnection::connect(url).await?;
    let batched = AtomicU32::new(0);
    let mut all = BTreeMap::new();
    for work in works {
        let token = server.token(&line.inspector.email).await;
        let requests = Requests::new(world, token, &batched);
        let make = async || -> Outcome<(Vec<u8>, Held)> {
            let number = if *work == Work::List { world.joints / 2 } else { world.model };
            let fact = new_id();
            let version =
                "SELECT chain_seq FROM joints WHERE project_id = $1 AND joint_number = $2";
            let version: i64 = sqlx::query_scalar(version)
                .bind(world.project.0)
                .bind(number.to_string())
                .fetch_one(&mut conn)
                .await?;
            let request = match work {
                Work::Record => requests.record(number, fact),
                Work::List => requests.list(number),
                _ => requests.read(number),
            };
            let held = vec![
                (Slot::Number, number.to_string()),
                (Slot::Joint, id_of(number)),
                (Slot::Fact, fact.to_string()),
                (Slot::Seq, (version + 1).to_string()),
                (Slot::JustBefore, (millimetres_of(number) - 1).to_string()),
            ];
            Ok((request, held))
        };
        let statements = log.statements(server, wanted(*work), make).await?;
        let count = statements.len();
        say(format_args!("{work:?}: {count} messages to the database for one request"));
        if show {
            for statement in &statements {
                let words: Vec<&str> = statement.sql.split_whitespace().collect();
                say(format_args!("    {}", words.join(" ")));
            }
        }
        all.insert(*work, statements);
    }
    log.end().await?;
    Ok(all)
}

/// A directory for scripts, gone with its owner.
struct Scripts(PathBuf);

impl Scripts {
    fn new() -> Outcome<Self> {
        let dir = std::env::temp_dir().join(format!("jointward-bench-{}", std::process::id()));
        fs::create_dir_all(&dir)?;
        Ok(Self(dir))
    }
}

impl Drop for Scripts {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}
