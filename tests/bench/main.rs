//! How fast the server is, beside what its database alone can do on the same machine.
//!
//! One command, from anywhere in the repository:
//!
//! ```text
//! cargo bench -p server --bench http
//! cargo bench -p server --bench http -- --rounds 5 --only record --comparison target/fastapi/bin/python
//! ```
//!
//! A private cluster with fsync on is started, or the server that `DATABASE_URL` names is used,
//! which must log as the private one does. A project of 1,000,000 joints is written into it, a
//! part of them with the facts of their coating. The server runs as a process of its own in its
//! own role, with row-level security.
//!
//! Every round measures, one after the other:
//! * *bare*: pgbench locks a joint, inserts a fact of 400 bytes, updates the joint. Past every row
//!   policy, as the owner.
//! * *same SQL*: pgbench sends the very statements that the server sends for one request. They
//!   are not written down here: the bench sends the request once and reads PostgreSQL's log.
//! * *HTTP*: the request itself, on connections that are kept open.
//!
//! Ratios are taken inside a round and their median is printed, because a disk or a neighbour
//! that is slow for a while is then slow for both.

mod capture;
mod comparison;
mod http;
mod options;
mod pgbench;
mod requests;
mod rounds;
mod seed;
mod storm;
mod table;

use std::{
    env,
    error::Error,
    fmt,
    io::{self, Write as _},
    path::PathBuf,
    process::{Command, ExitCode},
};

use cluster::Cluster;
use harness::{Line, server::Server};
use options::Options;

type Outcome<T> = Result<T, Box<dyn Error>>;

fn main() -> ExitCode {
    let options = Options::read();
    let done = match env::var("DATABASE_URL") {
        Ok(url) if !url.is_empty() => actix_web::rt::System::new().block_on(measure(&options)),
        _ => on_a_cluster(&options),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            let _ = writeln!(io::stderr(), "error: {error}");
            ExitCode::FAILURE
        }
    }
}

/// Runs this program again beside a private cluster, where the harness finds it.
fn on_a_cluster(options: &Options) -> Outcome<()> {
    // As the server sets up its own, but for the log that the statements are read from.
    let settings = cluster::Options { fsync: true, ..cluster::Options::temporary() }
        .with_setting("logging_collector", "on")
        .with_setting("log_destination", "jsonlog")
        .with_setting("log_rotation_size", "0");
    let settings = options.settings.iter().fold(settings, |settings, (name, value)| {
        say(format_args!("PostgreSQL with {name} = {value}"));
        settings.with_setting(name, value)
    });
    let cluster = Cluster::start(&settings)?;
    let mut again = Command::new(env::current_exe()?);
    let status =
        again.args(env::args_os().skip(1)).env("DATABASE_URL", cluster.url("postgres")).status()?;
    cluster.stop()?;
    if status.success() { Ok(()) } else { Err(format!("the measurement ended: {status}").into()) }
}

async fn measure(options: &Options) -> Outcome<()> {
    let line = Line::new().await;
    let world = seed::seed(&line, options).await?;
    let built = || PathBuf::from(env!("CARGO_BIN_EXE_jointward"));
    let program = options.server.clone().unwrap_or_else(built);
    let server = Server::start(&program, &line.app.database.url).await;
    let shares = rounds::run(&line, &world, &server, options).await?;
    let memory = storm::run(&line, &server, options).await?;
    table::print(&shares, memory.as_ref());
    Ok(())
}

/// Writes a line of the report. Nobody may be reading any more; the measurement goes on.
fn say(text: fmt::Arguments<'_>) {
    let _ = writeln!(io::stdout(), "{text}");
}
