//! `jointward probe`.

use std::{
    io::{Read, Write},
    net::TcpStream,
    process::ExitCode,
    time::Duration,
};

use anyhow::Context;

use crate::{cli::ProbeArgs, terminal};

/// Longer than the server itself waits for its database.
const PATIENCE: Duration = Duration::from_secs(3);

/// Asks once; exit code 1 if the answer is not 200.
pub fn run(args: &ProbeArgs) -> anyhow::Result<ExitCode> {
    let status = ask(&args.url)?;
    terminal::show(&format!("{status}\n"))?;
    let ready = status.split(' ').nth(1) == Some("200");
    Ok(if ready { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

/// The first line of the answer.
fn ask(url: &str) -> anyhow::Result<String> {
    let rest = url.strip_prefix("http://").context("an address begins with http://")?;
    let (host, path) = rest.split_once('/').unwrap_or((rest, ""));
    let mut server =
        TcpStream::connect(host).with_context(|| format!("could not connect to {host}"))?;
    server.set_read_timeout(Some(PATIENCE))?;
    server.set_write_timeout(Some(PATIENCE))?;
    write!(server, "GET /{path} HTTP/1.1\r\nhost: {host}\r\nconnection: close\r\n\r\n")?;
    let mut answer = String::new();
    server.take(4096).read_to_string(&mut answer).context("no answer")?;
    Ok(answer.lines().next().unwrap_or_default().to_owned())
}
